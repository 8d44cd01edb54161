import textwrap
import tomllib

import pytest

from station.settings.plan import HeightMark, Joint, LinkEnd, MidLoop, load_plan, plan_text, read_plan
from station.settings.tables import SettingsFault, Table
from station.settings.trials import Trial

INCH = 0.0254

WHOLE = """
[plan]
name = "centre A and B, left"
reference = "chart"
pull = "10 lbf"
tolerance = "1/2 in"
comparing_uncertainty = "0.5 lbf"
mark_uncertainty = "1/32 in"
eye_uncertainty = "0 in"
pull_share = 0.5
spare = "8 in"
minimum_trap = "3 in"

[shrinkage]
coefficient = 0.0625
standard_uncertainty = 0.01

[sewing]
kind = "bar-tack"
length = "1 in"
stitches = 42
taper = "1/2 in"

[[line]]
name = "A"
length = "120 in"
stiffness = "10000 lbf"
link_end = { loop = "1 1/2 in", trap = "5 in" }
canopy_end = { loop = "1 in", trap = "5 in", sewing = { kind = "zigzag", length = "3 in", per_inch = 9 } }

[[line]]
name = "B"
link_end = { joins = "A", at = "48 in", trap = "5 in", minimum_trap = "1 in", sewing = { kind = "none" } }
canopy_end = { knot = "1 1/4 in", trap = "5 in" }
shrinkage = { coefficient = 0.05 }

[[line]]
name = "C"
lot = "L7"
link_end = { loop = "1 in", trap = "17 in" }
loops = [
    { name = "brake loop", at = "18 in", loop = "1 1/2 in", trap = "4 in", leg = "running end" },
    { name = "spare", at = "40 in", loop = "1 in", trap = "3 in", minimum_trap = "2 in", sewing = { kind = "none" } },
]
marks = [{ name = "toggle", at = "60 in" }]
canopy_end = { trap = "6 in" }
"""

LEAST = """
[plan]
name = "A"
pull = "10 lbf"
tolerance = "1/2 in"
[[line]]
name = "A"
link_end = { loop = "1 1/2 in", trap = "5 in" }
canopy_end = { trap = "5 in" }
"""


def written(tmp_path, text):
    """Write a plan file and give its path."""
    path = tmp_path / "plan.toml"
    path.write_text(textwrap.dedent(text), encoding="utf-8")
    return path


def test_a_whole_plan_is_read_in_si_units(tmp_path):
    """Every key of a plan is read, an end's own sewing and minimum before the plan's."""
    plan = load_plan(written(tmp_path, WHOLE))
    assert (plan.name, plan.reference, plan.pull_share) == ("centre A and B, left", "chart", 0.5)
    assert plan.pull_n == pytest.approx(44.482216152605, rel=1e-15)
    assert (plan.tolerance_m, plan.spare_m, plan.minimum_trap_m) == (0.0127, 0.2032, 0.0762)
    assert (plan.mark_uncertainty_m, plan.eye_uncertainty_m) == (0.00079375, 0.0)
    a, b, c = plan.lines
    assert a.link_end == LinkEnd(0.0381, 0.127, None, plan.lines[1].canopy_end.sewing)
    assert (a.canopy_end.sewing.kind, a.canopy_end.sewing.per_inch) == ("zigzag", 9.0)
    assert isinstance(b.link_end, Joint)
    assert (b.link_end.joins, b.link_end.at_m, b.link_end.minimum_trap_m) == ("A", 1.2192, INCH)
    assert b.link_end.sewing is None
    assert (b.canopy_end.knot_m, b.canopy_end.loop_m) == (0.03175, 0.0)
    assert (b.length_m, b.stiffness_n, b.shrinkage.coefficient) == (None, None, 0.05)
    assert (a.lot, a.loops, a.marks) == ("", (), ())
    assert (c.lot, c.marks) == ("L7", (HeightMark("toggle", 1.524),))
    assert c.loops == (
        MidLoop("brake loop", 0.4572, 0.0381, 0.1016, "running end", sewing=c.canopy_end.sewing),
        MidLoop("spare", 1.016, INCH, 0.0762, "own piece", 2 * INCH, None),
    )


def test_the_least_plan(tmp_path):
    """Only name, pull, tolerance and each line's name and ends are required; the rest has its stated default."""
    plan = load_plan(written(tmp_path, LEAST))
    assert (plan.reference, plan.pull_share, plan.spare_m, plan.minimum_trap_m) == ("opposite number", 0.25, 0, 0)
    assert (plan.comparing_uncertainty_n, plan.mark_uncertainty_m, plan.eye_uncertainty_m) == (None, None, None)
    assert plan.shrinkage is None


@pytest.mark.parametrize(
    ("old", "new", "parts"),
    [
        ('pull = "10 lbf"', "", ("[plan] pull", "missing")),
        ('name = "centre A and B, left"', "", ("[plan] name", "missing")),
        ('tolerance = "1/2 in"', 'tolerence = "1/2 in"', ("[plan] tolerance", "missing", "'tolerence'")),
        ('tolerance = "1/2 in"', 'tolerance = "0 in"', ("[plan] tolerance", "'0 in'", "above zero")),
        ('tolerance = "1/2 in"', 'tolerance = "1/2 lbf"', ("[plan] tolerance", "'1/2 lbf'")),
        ('pull = "10 lbf"', 'pull = "10 lb"', ("[plan] pull", "write 10 lbf")),
        (
            'reference = "chart"',
            'reference = "charts"',
            ("[plan] reference", "'charts'", "the nearest known is 'chart'"),
        ),
        ("pull_share = 0.5", "pull_share = 0", ("[plan] pull_share", "0", "share above 0")),
        ("pull_share = 0.5", "pull_share = true", ("[plan] pull_share", "True")),
        ("pull_share = 0.5", "pull_share = nan", ("[plan] pull_share", "nan")),
        ('spare = "8 in"', 'spear = "8 in"', ("[plan]", "'spear'", "the nearest known is 'spare'")),
        ("[shrinkage]\n", '[shrinkage]\nmaterial = "x"\n', ("[shrinkage] material", "one source")),
        ("coefficient = 0.0625", "", ("[shrinkage] coefficient", "missing")),
        (
            "coefficient = 0.0625",
            'material = "HMPE 725"',
            ("[shrinkage] standard_uncertainty", "without a coefficient"),
        ),
        ("coefficient = 0.0625", "coefficient = -0.1", ("[shrinkage] coefficient", "-0.1")),
        ("coefficient = 0.0625", 'coefficient = "6 %"', ("[shrinkage] coefficient", "'6 %'", "plain number")),
        ("standard_uncertainty = 0.01", "standard_uncertainty = -1", ("standard_uncertainty", "-1")),
        ("stitches = 42", "stitches = 0", ("[sewing] stitches", "0", "above 0")),
        ("stitches = 42", "", ("[sewing] stitches", "missing")),
        ('kind = "bar-tack"', 'kind = "bartack"', ("[sewing] kind", "'bartack'", "'bar-tack'")),
        ("per_inch = 9", "per_inch = 0", ("[line A.canopy_end.sewing] per_inch", "0")),
        ("per_inch = 9", "stitches = 9", ("[line A.canopy_end.sewing] per_inch", "missing")),
        ('loop = "1 1/2 in", ', "", ("[line A.link_end] loop", "missing")),
        ('loop = "1 1/2 in", ', 'loop = "-1 in", ', ("[line A.link_end] loop", "'-1 in'")),
        ('at = "48 in"', 'at = "48"', ("[line B.link_end] at", "'48'")),
        ('at = "48 in", ', "", ("[line B.link_end] at", "missing")),
        ('joins = "A", at', 'joins = "A", loop = "1 in", at', ("[line B.link_end] loop", "joins")),
        ('loop = "1 1/2 in", trap', 'loop = "1 1/2 in", at = "2 in", trap', ("[line A.link_end] at", "joins")),
        ('knot = "1 1/4 in"', 'not = "1 1/4 in"', ("[line B.canopy_end]", "'not'", "the nearest known is 'knot'")),
        ('name = "B"', "", ("[line 2] name", "missing")),
        ('name = "B"', 'name = " "', ("[line 2] name", "' '")),
        ('name = "B"', "name = 2", ("[line 2] name", "2")),
        ('name = "B"', 'name = "' + "B" * 61 + '"', ("[line 2] name", "61")),
        ('name = "B"', 'name = "B"\ncolour = "red"', ("[line B]", "'colour'")),
        ('length = "120 in"', 'length = "0 in"', ("[line A] length", "'0 in'")),
        ('length = "120 in"', 'length = "120e9 in"', ("[line A] length", "'120e9 in'", "a line can have")),
        ('spare = "8 in"', 'spare = "8e-9 in"', ("[plan] spare", "'8e-9 in'", "a line can have")),
        ('stiffness = "10000 lbf"', 'stiffness = "-1 lbf"', ("[line A] stiffness", "'-1 lbf'")),
        ("shrinkage = { coefficient = 0.05 }", "shrinkage = 3", ("[line B] shrinkage", "3")),
        ("{ coefficient = 0.05 }", "{ standard_uncertainty = 0.05 }", ("[line B.shrinkage] coefficient",)),
        ("{ coefficient = 0.05 }", '{ material = "unobtainium" }', ("[line B.shrinkage] material", "'unobtainium'")),
        ("{ coefficient = 0.05 }", '{ trials = "none.csv" }', ("[line B.shrinkage] trials", "none.csv")),
        ("{ coefficient = 0.05 }", "{ trials = 3 }", ("[line B.shrinkage] trials", "3")),
        ("{ coefficient = 0.05 }", "{ material = 3 }", ("[line B.shrinkage] material", "3")),
        ('lot = "L7"', "lot = 7", ("[line C] lot", "7")),
        ('leg = "running end"', 'leg = "runing end"', ("[line C.loops 1] leg", "'runing end'", "'running end'")),
        ('at = "40 in", loop = "1 in"', 'at = "40 in"', ("[line C.loops 2] loop", "missing")),
        ('at = "18 in", ', 'at = "18 in", height = "1 in", ', ("[line C.loops 1]", "'height'")),
        ('{ name = "toggle", at = "60 in" }', '{ name = "toggle" }', ("[line C.marks 1] at", "missing")),
        ('{ name = "toggle", at = "60 in" }', '{ at = "60 in" }', ("[line C.marks 1] name", "missing")),
        ('{ name = "toggle", at = "60 in" }', '{ name = "toggle", at = "-6 in" }', ("[line C.marks 1] at", "'-6 in'")),
        ('marks = [{ name = "toggle", at = "60 in" }]', "marks = 3", ("[line C] marks", "3")),
    ],
)
def test_what_is_wrong_is_named(tmp_path, old, new, parts):
    """A missing, misspelt or impossible figure is refused with file, table, key, found and expected."""
    assert old in WHOLE
    path = written(tmp_path, WHOLE.replace(old, new, 1))
    with pytest.raises(SettingsFault) as caught:
        load_plan(path)
    words = str(caught.value)
    assert words.startswith(f"{path}: ")
    assert [part for part in parts if part not in words] == [], words


def test_a_plan_without_lines(tmp_path):
    """A plan needs a line."""
    with pytest.raises(SettingsFault, match=r"\[line\] is missing"):
        load_plan(written(tmp_path, LEAST.split("[[line]]", maxsplit=1)[0]))


def test_a_plan_may_name_its_trials(tmp_path):
    """Trials named in a plan are read from beside it, and a bad row is named with both files."""
    trials = tmp_path / "trials.csv"
    trials.write_text("trap,shortening\n5 in,5/16 in\n6 in,3/8 in\n", encoding="utf-8")
    text = WHOLE.replace("{ coefficient = 0.05 }", '{ trials = "trials.csv" }')
    shrinkage = load_plan(written(tmp_path, text)).lines[1].shrinkage
    found = shrinkage.trials
    assert (shrinkage.trials_file, [each.row for each in found]) == ("trials.csv", [1, 2])
    assert [(each.trap_m, each.shortening_m) for each in found] == [(0.127, 0.0079375), (0.1524, 0.009525)]
    trials.write_text("trap,shortening\n5 in,5/16\n", encoding="utf-8")
    with pytest.raises(SettingsFault, match=r"plan\.toml: \[line B\.shrinkage\] trials: .*trials\.csv: row 1"):
        load_plan(written(tmp_path, text))


INLINE = (
    '{ trials = [{ trap = "5 in", shortening = "5/16 in", lot = "L7" }, { trap = "6 in", shortening = "3/8 in" }] }'
)


def test_trials_may_stand_in_the_plan(tmp_path):
    """Trials written into a plan are read as those of a file, rows from 1, each fault with its number."""
    text = WHOLE.replace("{ coefficient = 0.05 }", INLINE)
    shrinkage = load_plan(written(tmp_path, text)).lines[1].shrinkage
    assert shrinkage.trials == (Trial(0.127, 0.0079375, "L7"), Trial(0.1524, 0.009525))
    assert ([each.row for each in shrinkage.trials], shrinkage.trials_file) == ([1, 2], "")
    for old, new, part in (
        ('trap = "6 in"', 'trap = "0 in"', "trials 2] trap"),
        ('lot = "L7" }', 'loot = "L7" }', "trials 1] has an unknown key 'loot'"),
        (', shortening = "3/8 in"', "", "trials 2] shortening"),
    ):
        with pytest.raises(SettingsFault) as caught:
            load_plan(written(tmp_path, text.replace(old, new)))
        assert part in str(caught.value)


def test_a_plans_text_with_its_trials_in_it(tmp_path):
    """The text to keep says exactly the same as the file, without the trials' file."""
    assert plan_text(written(tmp_path, WHOLE)) == textwrap.dedent(WHOLE)
    trials = tmp_path / "shop.csv"
    rows = 'trap,shortening,lot\n5 in,0.3 in,"L ""7"" \u00e9"\n1/3 in,1e-5 m,\n'
    trials.write_text(rows, encoding="utf-8")
    text = WHOLE.replace("{ coefficient = 0.05 }", "{ trials = 'shop.csv' }  # trials = 'old.csv'")
    path = written(tmp_path, text)
    kept, plan = plan_text(path), load_plan(path)
    trials.unlink()
    again = read_plan(Table(str(path), "", tomllib.loads(kept)))
    assert again == plan
    assert again.lines[1].shrinkage.trials[1] == Trial(0.008466666666666667, 1e-5)  # a third of an inch
    assert again.lines[1].shrinkage.trials[0].lot == 'L "7" \u00e9'
    assert "# trials = 'old.csv'" in kept


@pytest.mark.parametrize(
    ("name", "written_as"),
    [
        ("shop.csv", "{ 'trials' = 'shop.csv' }"),
        ("shop.csv", "{ trials = '''shop.csv''' }"),
        ("shop's.csv", '{ trials = "shop\'s.csv" }'),
    ],
)
def test_a_plan_whose_trials_cannot_be_written_in_is_refused(tmp_path, name, written_as):
    """Where the name of the trials' file is written in a way that is not found, that is said, not passed over."""
    (tmp_path / name).write_text("trap,shortening\n5 in,5/16 in\n", encoding="utf-8")
    path = written(tmp_path, WHOLE.replace("{ coefficient = 0.05 }", written_as))
    assert load_plan(path).lines[1].shrinkage.trials == (Trial(0.127, 0.0079375),)
    with pytest.raises(SettingsFault, match="cannot be kept with it"):
        plan_text(path)


def test_a_lot_that_no_plan_can_hold_is_refused(tmp_path):
    """A lot with a character that TOML forbids cannot be written into the plan, and that is said."""
    (tmp_path / "shop.csv").write_text("trap,shortening,lot\n5 in,5/16 in,L\x7f7\n", encoding="utf-8")
    path = written(tmp_path, WHOLE.replace("{ coefficient = 0.05 }", '{ trials = "shop.csv" }'))
    with pytest.raises(SettingsFault, match="cannot be kept with it"):
        plan_text(path)

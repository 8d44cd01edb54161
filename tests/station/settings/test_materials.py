import math

import pytest

from station.settings.materials import _materials_of_config, load_material, material_named, materials
from station.settings.tables import SettingsFault

WHOLE = """
[material]
name = "stock"
fibre = "HMPE"
rated_strength = { value = "725 lbf", source = "a handbook" }
line_mass = { mass = "2 g", per = "1 m", assumed = "a guess" }
fibre_density_kg_per_m3 = { value = 970, source = "a table" }
fibre_modulus_n_per_tex = { value = 100, source = "a table" }
braid_angle = { value = "15 deg", assumed = "a guess" }
picks = { picks = 10, per = "1 in", source = "counted" }
carriers = { value = 16, source = "counted" }
flat_width = { value = "2.5 mm", source = "seen" }
"""


def written(tmp_path, text):
    """Write a material file and give its path."""
    path = tmp_path / "stock.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_material_is_read_in_si_units(tmp_path):
    """Every figure is read with its source, and those that were supposed are named."""
    found = load_material(written(tmp_path, WHOLE))
    assert (found.name, found.fibre, found.carriers, found.stiffness_n) == ("stock", "HMPE", 16, None)
    assert found.braid_angle_rad == pytest.approx(math.radians(15))
    assert found.picks_per_m == pytest.approx(10 / 0.0254)
    assert found.line_mass_kg_per_m == pytest.approx(0.002)
    assert found.solid_area_m2 == pytest.approx(0.002 / 970)
    assert found.yarn_stiffness_n == pytest.approx(100 * 2000)  # 2 g/m is 2000 tex
    assert found.assumed == ("line_mass", "braid_angle")
    assert found.sources["rated_strength"] == "a handbook"


def test_what_is_not_given_is_unknown(tmp_path):
    """A material of name and fibre alone has no figure, and what follows from figures is unknown too."""
    found = load_material(written(tmp_path, '[material]\nname = "stock"\nfibre = "LCP"\n'))
    assert (found.solid_area_m2, found.yarn_stiffness_n, found.assumed) == (None, None, ())


@pytest.mark.parametrize(
    ("old", "new", "parts"),
    [
        (', source = "a handbook"', "", ("rated_strength", "source", "assumed")),
        ('source = "a handbook"', 'source = " "', ("rated_strength", "source")),
        ('source = "seen"', 'source = "seen", assumed = "too"', ("flat_width", "either")),
        ('"725 lbf"', '"725 lb"', ("[material.rated_strength] value", "write 725 lbf")),
        ('"725 lbf"', '"0 lbf"', ("[material.rated_strength] value", "'0 lbf'")),
        ('mass = "2 g"', 'mass = "0 g"', ("[material.line_mass] mass",)),
        ("value = 970", 'value = "970"', ("[material.fibre_density_kg_per_m3] value", "'970'")),
        ("value = 100", "value = -1", ("[material.fibre_modulus_n_per_tex] value", "-1")),
        ("value = 16", "value = 15", ("[material.carriers] value", "15", "even")),
        ("picks = 10", "picks = 0", ("[material.picks] picks",)),
        ('fibre = "HMPE"', 'fibre = "HMPE"\ncolour = "red"', ("[material]", "'colour'")),
        ('name = "stock"', "", ("[material] name", "missing")),
        ('value = "2.5 mm"', 'value = "2.5 mm", width = 3', ("[material.flat_width]", "'width'")),
    ],
)
def test_what_is_wrong_is_named(tmp_path, old, new, parts):
    """No figure without exactly one of source and assumed; and every slip is named with its key."""
    assert old in WHOLE
    path = written(tmp_path, WHOLE.replace(old, new, 1))
    with pytest.raises(SettingsFault) as caught:
        load_material(path)
    assert [part for part in (str(path), *parts) if part not in str(caught.value)] == [], str(caught.value)


def test_the_materials_that_come_with_it():
    """One generic stock of each fibre comes with it, each with a braid angle and a sourced rated strength."""
    found = materials()
    assert {each.fibre for each in found.values()} == {"HMPE", "polyester", "aramid", "LCP"}
    for material in found.values():
        assert material.braid_angle_rad is not None
        assert "rated_strength" not in material.assumed
        assert material.sources["rated_strength"].startswith("FAA-H-8083-17")


def test_assumed_stiffness_is_what_it_says():
    """The assumed stiffness of each is within 3 % of a quarter of its yarns' modulus times the line mass."""
    for material in materials().values():
        assert "stiffness" in material.assumed
        assert material.stiffness_n == pytest.approx(material.yarn_stiffness_n / 4, rel=0.03)


def test_two_files_of_one_name(tmp_path, monkeypatch):
    """Two files that give their materials one name are refused; what is no TOML is passed over."""
    folder = tmp_path / "lines"
    folder.mkdir()
    for name in ("one.toml", "two.toml", "notes.txt"):
        (folder / name).write_text(WHOLE, encoding="utf-8")
    monkeypatch.setattr("importlib.resources.files", lambda _: tmp_path)
    with pytest.raises(SettingsFault, match=r"two\.toml: \[material\] name: 'stock'"):
        _materials_of_config.__wrapped__()
    (folder / "two.toml").unlink()
    assert list(_materials_of_config.__wrapped__()) == ["stock"]


def test_an_unknown_material_names_the_nearest():
    """A misspelt name is refused with the nearest there is."""
    with pytest.raises(ValueError, match=r"found the material 'HMPE 752'.*the nearest known is 'HMPE 725'"):
        material_named("HMPE 752")

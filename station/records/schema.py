"""The tables of an archive, the same in a file (SQLite) and on a server (PostgreSQL), and their guards.

`entries(bench, seq, job, kind, hash, body, names, signature)`, where job and kind repeat the body's, and `traces(hash,
blob, blob_hash)`: see `station.records.rows`. (bench, seq) numbers an entry. Hashes and bodies are text, so that any
tool shows them. Guards refuse to alter an entry or a trace, to take one out, and to put one in out of number.

What is looked for often has an index over what the bodies themselves say (`INDEXED`): there is no second copy that
could say something else, and the database's own check of its indexes, which `unsound` asks for, finds one that does.
An archive made before there were indexes is searched without, and gets them when a bench opens it to write.

>>> [table.name for table in METADATA.sorted_tables]
['entries', 'traces']
"""

from __future__ import annotations

from collections.abc import Mapping

import sqlalchemy as sa

from station.records.names import NONE

LAYOUT = 2

METADATA = sa.MetaData()
# On a server, text sorts as its bytes do, as in a file.
_NAME = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")
ENTRIES = sa.Table(
    "entries",
    METADATA,
    sa.Column("bench", _NAME, primary_key=True),
    sa.Column("seq", sa.Integer().with_variant(sa.BigInteger(), "postgresql"), primary_key=True, autoincrement=False),
    sa.Column("job", _NAME, nullable=False),
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("hash", sa.Text, nullable=False),
    sa.Column("body", sa.Text, nullable=False),
    sa.Column("names", sa.Text, nullable=False, server_default=NONE),
    sa.Column("signature", sa.Text, nullable=False, server_default=""),
    sa.Index("entries_of_a_job", "job", "bench", "seq"),
    sqlite_strict=True,
)
TRACES = sa.Table(
    "traces",
    METADATA,
    sa.Column("hash", _NAME, primary_key=True),
    sa.Column("blob", sa.LargeBinary, nullable=False),
    sa.Column("blob_hash", sa.Text, nullable=False),
    sqlite_strict=True,
)

# Name of an index -> a kind of entry, and the place in its body that is looked for.
INDEXED: Mapping[str, tuple[str, str]] = {
    "jobs_of_a_lot": ("job-opened", "entry.stock.lot"),
    "jobs_of_a_thread_lot": ("job-opened", "entry.sewing.thread_lot"),
    "pieces_of_a_lot": ("piece-cut", "entry.lot"),
    "holds_of_a_scale": ("hold-judged", "entry.scale"),
}


def place_in_body(place: str, server: bool) -> str:
    """Give SQL for what stands at a place in a body, as text; null where nothing does, or the body is damaged.

    >>> place_in_body("entry.stock.lot", server=True)
    "fidbench_place(body, '{entry,stock,lot}')"
    """
    if server:
        return f"fidbench_place(body, '{{{place.replace('.', ',')}}}')"
    return f"CASE WHEN json_valid(body) THEN json_extract(body, '$.{place}') END"


def sought(place: str, server: bool) -> str:
    """Give SQL for what stands at a place, as it is compared: without blanks around it, in small letters."""
    return f"lower(trim({place_in_body(place, server)}))"


def different(kind: str, place: str, server: bool) -> str:
    """Give SQL for the different words that a kind of entry says at a place, read from its index where there is one."""
    here = sought(place, server)
    if server:  # from each word to the next: PostgreSQL never reads what an expression says out of its index
        after = f"(SELECT {here} FROM entries WHERE kind = '{kind}' AND {here} > word ORDER BY {here} LIMIT 1)"  # noqa: S608
        return f"""WITH RECURSIVE said AS (
            SELECT {after} AS word FROM (SELECT '' AS word) AS begin
            UNION ALL SELECT {after} FROM said WHERE word IS NOT NULL
        ) SELECT word FROM said WHERE word IS NOT NULL"""  # noqa: S608 -- our own places
    # Told that nearly every entry is of the kind, SQLite goes through this index and not through that of the kinds.
    return f"SELECT DISTINCT {here} FROM entries WHERE likely(kind = '{kind}') AND {here} > ''"  # noqa: S608


def indexes(server: bool) -> dict[str, str]:
    """Give the statement that makes each index over what bodies say."""
    made = {"entries_of_a_kind": "CREATE INDEX IF NOT EXISTS entries_of_a_kind ON entries (kind, job)"}
    for name, (kind, place) in INDEXED.items():
        columns = f"({sought(place, server)}), bench, seq"
        made[name] = f"CREATE INDEX IF NOT EXISTS {name} ON entries ({columns}) WHERE kind = '{kind}'"
    return made


# From each older layout of a file to the next, and how a file of that layout is read as it is.
MIGRATIONS = {
    1: (
        "ALTER TABLE entries ADD COLUMN names TEXT NOT NULL DEFAULT '{}'",
        "ALTER TABLE entries ADD COLUMN signature TEXT NOT NULL DEFAULT ''",
    ),
}
READ_AS_IT_IS = {1: "CREATE TEMP VIEW entries AS SELECT *, '{}' AS names, '' AS signature FROM main.entries"}

# In a file. REPLACE deletes without asking unless recursive_triggers is on, so numbering is held on the way in as well.
GUARDS = {
    "entries_in_number": """BEFORE INSERT ON entries
        WHEN NEW.seq <> (SELECT coalesce(max(seq), 0) + 1 FROM entries WHERE bench = NEW.bench)
        BEGIN SELECT RAISE(ABORT, 'entries are numbered without holes'); END""",
    "entries_unaltered": """BEFORE UPDATE ON entries
        BEGIN SELECT RAISE(ABORT, 'an entry is never altered; a correction is a new entry'); END""",
    "entries_kept": """BEFORE DELETE ON entries
        BEGIN SELECT RAISE(ABORT, 'an entry is never taken out'); END""",
    "traces_once": """BEFORE INSERT ON traces WHEN EXISTS (SELECT 1 FROM traces WHERE hash = NEW.hash)
        BEGIN SELECT RAISE(ABORT, 'a trace is stored once'); END""",
    "traces_unaltered": """BEFORE UPDATE ON traces
        BEGIN SELECT RAISE(ABORT, 'a trace is never altered'); END""",
    "traces_kept": """BEFORE DELETE ON traces
        BEGIN SELECT RAISE(ABORT, 'a trace is never taken out'); END""",
}

# On a server, a guard is a function and a trigger that calls it.
SERVER_FUNCTIONS = (
    # Half a character, or a zero byte, is refused by jsonb; an entry that bears one is kept all the same. What catches
    # an exception cannot run in parallel, and is not called safe for it.
    """CREATE OR REPLACE FUNCTION fidbench_place(body text, place text[]) RETURNS text LANGUAGE plpgsql IMMUTABLE AS $$
        BEGIN RETURN body::jsonb #>> place; EXCEPTION WHEN OTHERS THEN RETURN NULL; END $$""",
    """CREATE OR REPLACE FUNCTION fidbench_refuse() RETURNS trigger LANGUAGE plpgsql AS $$
        BEGIN RAISE EXCEPTION 'an entry or a trace is never altered and never taken out'; END $$""",
    """CREATE OR REPLACE FUNCTION fidbench_in_number() RETURNS trigger LANGUAGE plpgsql AS $$
        BEGIN
            IF NEW.seq <> (SELECT coalesce(max(seq), 0) + 1 FROM entries WHERE bench = NEW.bench) THEN
                RAISE EXCEPTION 'entries are numbered without holes';
            END IF;
            RETURN NEW;
        END $$""",
)
SERVER_GUARDS = {
    "entries_in_number": "BEFORE INSERT ON entries FOR EACH ROW EXECUTE FUNCTION fidbench_in_number()",
    "entries_kept": "BEFORE UPDATE OR DELETE ON entries FOR EACH ROW EXECUTE FUNCTION fidbench_refuse()",
    "entries_not_emptied": "BEFORE TRUNCATE ON entries FOR EACH STATEMENT EXECUTE FUNCTION fidbench_refuse()",
    "traces_kept": "BEFORE UPDATE OR DELETE ON traces FOR EACH ROW EXECUTE FUNCTION fidbench_refuse()",
    "traces_not_emptied": "BEFORE TRUNCATE ON traces FOR EACH STATEMENT EXECUTE FUNCTION fidbench_refuse()",
}
# A job is its bench's own. That benches which ask for a number at the same moment do not both open a job under it is
# seen to when it is opened (`ServerStore.opening`); chains gathered from elsewhere may bring the same number.
SERVER_INDEXES = (
    "DROP INDEX IF EXISTS job_opened_once",  # of archives made when a number was refused to all but the first bench
    "CREATE UNIQUE INDEX IF NOT EXISTS job_opened_once_at_a_bench ON entries (bench, job) WHERE kind = 'job-opened'",
)

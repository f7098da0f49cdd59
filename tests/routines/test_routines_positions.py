"""Lines of keys: examples that tempt a naive scan, and agreement with tomllib on generated documents."""

import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tickover.errors import RoutineFileError
from tickover.routines.positions import path_words, read_toml, scan

TRICKY = """\
# comment with [brackets] and "quotes"
title = "a # that is no comment, { nor a table } = [x]"
'quoted key' = 'C:\\path\\'
site."a.b".c = 1

text = \"\"\"
[not.a.table]
key = "no key"  \\"\"\"
two quotes before the end\"\"\"\"\"
after = '''
'quoted' # still text
'''
list = [ # comment ]
  1, [2,
  3], { about = 3, "g.x" = { y = [ 4 ] } },
  1979-05-27 07:32:00,
]

[a.b]
x = 1
[[steps]]
id = "on"
[[steps]]
id = "presses" # { id = "no" }
press = { between = [0.25, 0.9], note = "}" }
press2.between = [
  0.25,
  0.9 ]
[[steps.cycle]]
id = "off"
[[steps.cycle]]
id = "on"
[steps.cycle.more]
z = true
[[steps]]
id = "last"
"""


def paths_of(value, path=()):
    """Every path of a parsed document, as tomllib sees it."""
    found = {path} if path else set()
    if isinstance(value, dict):
        for key, inner in value.items():
            found |= paths_of(inner, (*path, key))
    elif isinstance(value, list):
        for number, inner in enumerate(value):
            found |= paths_of(inner, (*path, number))
    return found


def test_a_tricky_document_has_the_paths_of_tomllib():
    assert set(scan(TRICKY).lines) == paths_of(tomllib.loads(TRICKY))


@pytest.mark.parametrize(
    ("path", "starts"),
    [
        (("title",), "title ="),
        (("quoted key",), "'quoted key'"),
        (("site", "a.b", "c"), "site."),
        (("after",), "after ="),
        (("list", 0), "  1, [2,"),
        (("list", 1, 1), "  3], {"),
        (("list", 2, "g.x", "y", 0), "  3], {"),
        (("list", 3), "  1979"),
        (("a", "b"), "[a.b]"),
        (("a", "b", "x"), "x = 1"),
        (("steps", 1, "press", "between", 1), "press ="),
        (("steps", 1, "press2", "between", 1), "  0.9 ]"),
        (("steps", 1, "cycle", 1, "more", "z"), "z = true"),
    ],
)
def test_each_key_is_found_in_its_line(path, starts):
    row = TRICKY.splitlines()[scan(TRICKY).line(path) - 1]
    assert row.startswith(starts)


def test_list_tables_are_numbered_in_order():
    lines = scan(TRICKY)
    rows = TRICKY.splitlines()
    assert [rows[lines.line(("steps", n, "id")) - 1].split('"')[1] for n in range(3)] == ["on", "presses", "last"]
    assert rows[lines.line(("steps", 1, "cycle", 0, "id")) - 1] == 'id = "off"'


def test_an_absent_path_answers_with_its_parent():
    assert scan("a = 1\nb = { c = 2 }\n").line(("b", "missing", 4)) == 2
    assert scan("\n\na = 1\n").line(("nothing",)) == 1


def test_windows_line_ends_count_once():
    assert scan("a = 1\r\nb = [\r\n 1,\r\n 2 ]\r\n[c]\r\nd = 1\r\n").lines == {
        ("a",): 1,
        ("b",): 2,
        ("b", 0): 3,
        ("b", 1): 4,
        ("c",): 5,
        ("c", "d"): 6,
    }


def test_paths_in_words():
    assert path_words(("steps", 2, "about")) == "steps[2].about"


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ('id = "x"\ntitle = no quotes\n', 2, "quotes"),
        ("a = 1\nsteps = [\n  { id = 1,\n    about = 3 },\n]\n", 3, "[[steps]]"),
        ("a = 1\n\na = 2\n", 3, "overwrite"),
        ("a = [1,\n2\n", 2, "not TOML"),
        ("\ufeffa = 1\n", 1, "byte order mark"),
        ("a = " + "[" * 5000, None, "nested"),
        ("a = 1\nb = " + "9" * 5000, None, "not TOML"),
    ],
)
def test_what_is_not_toml_is_named_with_its_line(text, line, words):
    with pytest.raises(RoutineFileError) as caught:
        read_toml(text, "mine.toml")
    (fault,) = caught.value.faults
    assert fault.line == line
    assert words in str(fault)


# --- generated documents: written with known lines, then found again -------------------------------------------------

WORDS = st.text(alphabet="ab\"'#{}[]=,.\\ \n", max_size=8)
KEYS = st.sampled_from(["about", "b-2", "a b", "x.y", "#", "id", 'q"', ""])
LEAVES = st.one_of(st.integers(-9, 9), st.booleans(), WORDS)
TREES = st.recursive(
    LEAVES,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=3),
    max_leaves=8,
)
DOCUMENTS = st.dictionaries(KEYS, TREES, max_size=4)


class Writer:
    """Writes TOML in one of many manners, and remembers in which line each path went."""

    def __init__(self, choose):
        self.choose = choose
        self.out = ""
        self.lines = {}

    def mark(self, path):
        self.lines[path] = self.out.count("\n") + 1

    def text(self, value):
        plain = not set(value) & set("'\n")
        if plain and self.choose(2):
            return f"'{value}'"
        if "'''" not in value and not value.endswith("'") and self.choose(3) == 0:
            return f"'''\n{value}'''"
        escaped = value.replace("\\", "\\\\").replace('"', '\\"')
        if not value.startswith("\n") and self.choose(2):
            return '"""' + escaped + '"""'
        return '"' + escaped.replace("\n", "\\n") + '"'

    def key(self, key):
        if key and all(c.isalnum() or c in "-_" for c in key) and self.choose(2):
            return key
        return '"' + key.replace("\\", "\\\\").replace('"', '\\"') + '"'

    def value(self, value, path):
        if isinstance(value, bool):
            self.out += str(value).lower()
        elif isinstance(value, int):
            self.out += str(value)
        elif isinstance(value, str):
            self.out += self.text(value)
        elif isinstance(value, list):
            self.out += "["
            for number, inner in enumerate(value):
                self.out += ["", "\n  ", " # ] x\n"][self.choose(3)]
                self.mark((*path, number))
                self.value(inner, (*path, number))
                self.out += ["", " ", "\n"][self.choose(3)] + ","
            self.out += ["", " # ] x\n"][self.choose(2)] + "]"
        else:
            self.out += "{"
            for number, (key, inner) in enumerate(value.items()):
                self.out += ", " if number else " "
                self.mark((*path, key))
                self.out += f"{self.key(key)} = "
                self.value(inner, (*path, key))
            self.out += " }"

    def table(self, values, path=(), header=()):
        """Write scalars of a table first, then its tables under headers, dotted or inline."""
        later = {}
        for key, inner in values.items():
            here = (*path, key)
            listed = isinstance(inner, list) and inner and all(isinstance(i, dict) for i in inner)
            if (isinstance(inner, dict) or listed) and self.choose(2):
                later[key] = inner
                continue
            self.out += ["", "\n", "# a = 1\n", "  "][self.choose(4)]
            self.mark(here)
            if isinstance(inner, dict) and len(inner) == 1 and self.choose(2):
                ((dotted, deepest),) = inner.items()
                self.out += f"{self.key(key)} . "
                self.mark((*here, dotted))
                self.out += f"{self.key(dotted)} ="
                self.value(deepest, (*here, dotted))
            else:
                self.out += f"{self.key(key)} = "
                self.value(inner, here)
            self.out += [" # x", ""][self.choose(2)] + "\n"
        for key, inner in later.items():
            name = (*header, self.key(key))
            here = (*path, key)
            if isinstance(inner, dict):
                self.mark(here)
                self.out += f"[{'.'.join(name)}]\n"
                self.table(inner, here, name)
                continue
            self.mark(here)
            for number, item in enumerate(inner):
                self.mark((*here, number))
                self.out += f"[[ {' . '.join(name)} ]]\n"
                self.table(item, (*here, number), name)


@given(DOCUMENTS, st.randoms(use_true_random=False))
@settings(max_examples=150, deadline=None)
def test_generated_documents_agree_with_tomllib_in_structure_and_with_the_writer_in_lines(document, random):
    writer = Writer(lambda n: random.randrange(n))
    writer.table(document)
    found = scan(writer.out)
    assert tomllib.loads(writer.out) == document
    assert set(found.lines) == paths_of(document)
    assert found.lines == writer.lines

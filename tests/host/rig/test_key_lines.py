"""The lines on which keys, tables and elements of arrays stand."""

import tomllib

import pytest

from pullcurve.rig.key_lines import key_lines

TRICKY = '''\
# [no] = 1
"quo.ted" = 1   # a = 2
text = """
[not.a.table]
fake = 1 \\" """"
list = [ # open
  "]", '=',
  {in_list = [1, 2], next = {deep = 1}},
]
[ a . "b c" ]
inline = { x = "}", y = [ { z = 1 } ], w.v = 2 }
d.e = 1979-05-27 07:32:00

[[a.rows]]
first = 1
[[a.rows]]
second = 1.5e3
'''


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_the_lines_of_keys(newline):
    text = TRICKY.replace("\n", newline)
    tomllib.loads(text)
    assert key_lines(text) == {
        ("quo.ted",): 2,
        ("text",): 3,
        ("list",): 6,
        ("list", 0): 7,
        ("list", 1): 7,
        ("list", 2): 8,
        ("list", 2, "in_list"): 8,
        ("list", 2, "in_list", 0): 8,
        ("list", 2, "in_list", 1): 8,
        ("list", 2, "next"): 8,
        ("list", 2, "next", "deep"): 8,
        ("a",): 10,
        ("a", "b c"): 10,
        ("a", "b c", "inline"): 11,
        ("a", "b c", "inline", "x"): 11,
        ("a", "b c", "inline", "y"): 11,
        ("a", "b c", "inline", "y", 0): 11,
        ("a", "b c", "inline", "y", 0, "z"): 11,
        ("a", "b c", "inline", "w"): 11,
        ("a", "b c", "inline", "w", "v"): 11,
        ("a", "b c", "d"): 12,
        ("a", "b c", "d", "e"): 12,
        ("a", "rows"): 14,
        ("a", "rows", 0): 14,
        ("a", "rows", 0, "first"): 15,
        ("a", "rows", 1): 16,
        ("a", "rows", 1, "second"): 17,
    }

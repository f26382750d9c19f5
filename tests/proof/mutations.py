"""Programs with one thing changed: lines, words, numbers, codes, comments, stops and modes, drawn by chance."""

from __future__ import annotations

import re

WORD = re.compile(r"([A-Z])([-+]?[0-9.]+)")


def is_code(line):
    """Return whether a controller acts on a line."""
    return bool(line.strip()) and line[0] not in "(;"


def _pick(random, lines, wanted):
    found = [k for k, line in enumerate(lines) if wanted(line)]
    return random.choice(found) if found else None


def _word(random, line, letters="ABCFGMNPSXYZ"):
    found = [match for match in WORD.finditer(line) if match[1] in letters]
    return random.choice(found) if found and is_code(line) else None


def _with(line, match, new):
    return line[: match.start()] + new + line[match.end() :]


def delete_line(random, lines):
    at = _pick(random, lines, is_code)
    return [*lines[:at], *lines[at + 1 :]]


def delete_lines(random, lines):
    at, many = random.randrange(len(lines)), random.randint(2, 12)
    return [*lines[:at], *lines[at + many :]]


def delete_word(random, lines):
    at = _pick(random, lines, lambda line: is_code(line) and WORD.search(line))
    return [*lines[:at], _with(lines[at], _word(random, lines[at]), "").strip(), *lines[at + 1 :]]


def swap_lines(random, lines):
    at = _pick(random, lines[:-1], is_code)
    other = min(len(lines) - 1, at + random.choice([1, 1, 2, 5]))
    found = list(lines)
    found[at], found[other] = found[other], found[at]
    return found


def change_number(random, lines, letters="ABCXYZ"):
    at = _pick(random, lines, lambda line: is_code(line) and any(each[1] in letters for each in WORD.finditer(line)))
    if at is None:
        return list(lines)
    word = _word(random, lines[at], letters)
    value = float(word[2])
    new = random.choice(
        [
            value + 0.5,
            value - 0.5,
            value + 0.05,
            value * 2,
            value / 2,
            -value,
            value + 90,
            0.0,
            value + 0.0001,
            value * 10,
            value + 3,
        ]
    )
    return [*lines[:at], _with(lines[at], word, f"{word[1]}{new:.6f}"), *lines[at + 1 :]]


def change_feed(random, lines):
    at = _pick(random, lines, lambda line: is_code(line) and "F" in line)
    if at is None:
        return list(lines)
    word = _word(random, lines[at], "F")
    new = float(word[2]) * random.choice([0.0, 1e-4, 0.1, 0.4, 0.98, 1.001, 1.5, 3, 10, 100, 1e6])
    return [*lines[:at], _with(lines[at], word, f"F{new:.9f}"), *lines[at + 1 :]]


def delete_feed(random, lines):
    at = _pick(random, lines, lambda line: is_code(line) and "F" in line)
    return list(lines) if at is None else [*lines[:at], re.sub(r" ?F[0-9.]+", "", lines[at]), *lines[at + 1 :]]


CODES = [f"G{n}" for n in (0, 1, 2, 3, 4, 17, 18, 19, 20, 21, 28, 40, 49, 53, 54, 61, 64, 80, 90, 91, 92, 93, 94)]
CODES += [f"M{n}" for n in (0, 1, 2, 3, 5, 6, 30)]


def change_code(random, lines):
    at = _pick(random, lines, lambda line: is_code(line) and re.search(r"[GM]\d", line))
    return [*lines[:at], _with(lines[at], _word(random, lines[at], "GM"), random.choice(CODES)), *lines[at + 1 :]]


def insert_code(random, lines):
    at = random.randrange(len(lines))
    return [
        *lines[:at],
        random.choice([*CODES, "G4 P3", "G4 P0.2", "S500 M3", "F20", "X1", "G91", "G20", "G18", "N5"]),
        *lines[at:],
    ]


def truncate(random, lines):
    text = "\n".join(lines)
    return text[: random.randrange(len(text))].split("\n")


def truncate_and_end(random, lines):
    return [*lines[: random.randrange(len(lines))], "M2"]


def repeat_lines(random, lines):
    at, many = random.randrange(len(lines)), random.randint(1, 30)
    return [*lines[: at + many], *lines[at : at + many], *lines[at + many :]]


def _sections(lines):
    begins = [k for k, line in enumerate(lines) if line == ""]
    return begins if len(begins) > 2 else None


def repeat_section(random, lines):
    begins = _sections(lines)
    if begins is None:
        return list(lines)
    k = random.randrange(len(begins) - 1)
    return [*lines[: begins[k + 1]], *lines[begins[k] : begins[k + 1]], *lines[begins[k + 1] :]]


def delete_section(random, lines):
    begins = _sections(lines)
    if begins is None:
        return list(lines)
    k = random.randrange(len(begins) - 1)
    return [*lines[: begins[k]], *lines[begins[k + 1] :]]


def swap_sections(random, lines):
    begins = _sections(lines)
    if begins is None or len(begins) < 3:
        return list(lines)
    k = random.randrange(len(begins) - 2)
    a, b, c = begins[k : k + 3]
    return [*lines[:a], *lines[b:c], *lines[a:b], *lines[c:]]


def _stop(random, lines):
    return _pick(random, lines, lambda line: re.search(r"\bM0\b", line) and is_code(line))


def remove_stop(random, lines):
    at = _stop(random, lines)
    words = at > 0 and lines[at - 1][:1] in ("(", ";") and random.random() < 0.5
    return [*lines[: at - words], *lines[at + 1 :]]


def move_stop(random, lines):
    at = _stop(random, lines)
    first = at - (lines[at - 1][:1] in ("(", ";"))
    rest = [*lines[:first], *lines[at + 1 :]]
    to = max(0, min(len(rest) - 1, first + random.choice([-12, -3, -1, 1, 2, 3, 5, 12, 40])))
    return [*rest[:to], *lines[first : at + 1], *rest[to:]]


def change_words(random, lines):
    at = _pick(random, lines, lambda line: re.match(r"\(MSG|; ", line))
    if at is None:
        return list(lines)
    line = lines[at]
    spot = random.randrange(6, max(7, len(line) - 1))
    new = random.choice(
        [
            line[:spot] + random.choice("0123456789abc") + line[spot + 1 :],
            line[:spot] + line[spot + 1 :],
            line[:1] + "note" + line[4:],
            line.replace("MSG", "msg"),
            line.replace(", ", ",  ", 1),
            "",
        ]
    )
    return [*lines[:at], new, *lines[at + 1 :]]


def change_units(random, lines):
    old, new = random.choice([("G21", "G20"), ("G20", "G21")])
    at = _pick(random, lines, lambda line: old in line and is_code(line))
    return list(lines) if at is None else [*lines[:at], lines[at].replace(old, new), *lines[at + 1 :]]


def break_comment(random, lines):
    at = _pick(random, lines, lambda line: line[:1] == "(")
    if at is None:
        return list(lines)
    new = random.choice([lines[at][:-1], f"({lines[at]}", f"{lines[at]})", lines[at].replace(" ", " ( ", 1), lines[at][1:]])
    return [*lines[:at], new, *lines[at + 1 :]]


def add_percent(random, lines):
    at = random.choice([0, 0, random.randrange(len(lines)), len(lines)])
    return [*lines[:at], "%", *lines[at:]]


def block_delete(random, lines):
    at = random.randrange(len(lines))
    return [*lines[:at], f"/{lines[at]}", *lines[at + 1 :]]


def duplicate_letter(random, lines):
    at = _pick(random, lines, lambda line: is_code(line) and WORD.search(line))
    return [*lines[:at], f"{lines[at]} {_word(random, lines[at])[0]}", *lines[at + 1 :]]


def line_numbers(random, lines):
    if any(re.match(r"N\d", line) for line in lines):
        return [re.sub(r"^N\d+ ", "", line) for line in lines]
    return [f"N{k} {line}" if is_code(line) else line for k, line in enumerate(lines, 1)]


def lower_case(random, lines):
    return [line.lower() if is_code(line) else line for line in lines]


def other_spacing(random, lines):
    return [
        random.choice([line.replace(" ", ""), line.replace(" ", "  "), f"\t{line}"]) if is_code(line) else line for line in lines
    ]


def trailing_remark(random, lines):
    at = _pick(random, lines, lambda line: is_code(line) and "M0" not in line)
    return [*lines[:at], f"{lines[at]} (as set)", *lines[at + 1 :]]


def same_place_again(random, lines):
    at = _pick(random, lines, lambda line: re.search(r"\bG0 ", line) and is_code(line))
    return list(lines) if at is None else [*lines[: at + 1], lines[at], *lines[at + 1 :]]


MUTATIONS = [
    delete_line,
    delete_lines,
    delete_word,
    swap_lines,
    change_number,
    change_number,
    change_number,
    change_feed,
    change_feed,
    delete_feed,
    change_code,
    change_code,
    insert_code,
    insert_code,
    truncate,
    truncate_and_end,
    repeat_lines,
    repeat_section,
    delete_section,
    swap_sections,
    remove_stop,
    move_stop,
    move_stop,
    change_words,
    change_units,
    break_comment,
    add_percent,
    block_delete,
    duplicate_letter,
    line_numbers,
    lower_case,
    other_spacing,
    trailing_remark,
    same_place_again,
]


def mutated(random, text):
    """Return what was done to a program, and the program after it."""
    change = random.choice(MUTATIONS)
    return change.__name__, "\n".join(change(random, text.rstrip("\n").split("\n"))) + "\n"

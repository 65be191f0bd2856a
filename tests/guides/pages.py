"""A page of Markdown as something to execute: its commands, the output it shows, the figures it claims.

Commands stand in ```sh blocks, what they print in the ```text block that follows. A line `...` in a text block
stands for lines left out. HTML comments, which no reader sees, say the rest; each belongs to what follows it:

  <!-- status 1 -->               the commands of the next block end with exit status 1
  <!-- the demo -->              the next block is ./demo/run, which fills the folder before the pages are executed,
                                 and ./tests/run, which executes them
  <!-- not run: REASON -->        the next block is not executed
  <!-- shows: COMMAND -->         the next text block is what COMMAND prints
  <!-- figures: COMMAND           what the text up to the next heading claims, against what COMMAND prints
       "within # pixels" = "largest zone # px"
       "better than # pixels" > "rms #, largest"
       "# %" = 100 * "\"median\": #"
  -->                             COMMAND `above`: the output of the last block; `#` is the number, `...` anything
  <!-- given: "30 %", "2.5 m"; REASON -->        figures that no command prints

A number with a decimal point, or one in front of a unit of measurement, has to be tied by `figures` or `given`.
"""
import dataclasses
import difflib
import pathlib
import re

NUMBER = r"[-+]?\d[\d,]*(?:\.\d+)?(?:e[-+]?\d+)?"
UNIT = r"(?:px|pixels?|plate pixels?|%|stops?)"
TO_TIE = re.compile(rf"(?<![\w.:/#-])(?:\d[\d,]*\.\d+|\d[\d,]*(?=\s{UNIT}(?![\w/])))")
CLOCK = re.compile(r"\s*\b\d+(?:\.\d+)?(?= ?(?:ms|s|sec|seconds?|min|minutes?|h|hours?|[kMG]?pix/s)\b)")
RELATION = re.compile(r'^\s*"((?:[^"\\]|\\.)*)"\s*(=|>|<)\s*(?:([\d.e-]+) \* )?"((?:[^"\\]|\\.)*)"\s*$')


@dataclasses.dataclass
class Commands:
    line: int
    text: str
    status: int = 0
    is_demo: bool = False
    not_run: str = ""


@dataclasses.dataclass
class Shown:
    line: int
    lines: list
    command: str = ""  # empty: the block of commands before it


@dataclasses.dataclass
class Figure:
    line: int
    command: str
    claim: str
    relation: str
    factor: float
    printed: str
    prose: str  # the text that makes the claim


class PageError(Exception):
    """A page that can't be understood; says where."""


def number_of(text):
    return float(text.replace(",", ""))


def last_digit(text):
    """What one step of the last digit printed is worth: 0.01 for 0.35, 1 for 24."""
    mantissa, _, exponent = text.lower().partition("e")
    decimals = len(mantissa.partition(".")[2])
    return 10.0 ** (int(exponent or 0) - decimals)


def pattern(words):
    """A pattern of a claim or of an output as a regular expression with one group, the number."""
    if words.count("#") != 1:
        raise PageError(f'"{words}" has to hold one #, the number')
    parts = []
    for part in re.split(r"(#|\.\.\.|\s+)", words.replace('\\"', '"')):
        if part == "#":
            parts.append(f"({NUMBER})")
        elif part == "...":
            parts.append(".*?")
        else:
            parts.append(r"\s+" if part.strip() == "" and part else re.escape(part))
    return re.compile("".join(parts), re.S)


def figure_fault(figure, output):
    """Empty when the claim holds on the output, else what is wrong."""
    claim = pattern(figure.claim).search(figure.prose)
    if not claim:
        return f'the text does not say "{figure.claim}"'
    printed = pattern(figure.printed).search(output)
    if not printed:
        return f'no line of the output matches "{figure.printed}"'
    said, found = number_of(claim[1]), number_of(printed[1]) * figure.factor
    holds = {
        "=": abs(said - found) <= 0.5 * last_digit(claim[1]) * (1 + 1e-9) + 1e-12,
        ">": said >= found,
        "<": said <= found,
    }[figure.relation]
    return "" if holds else f'the text says {claim[1]} ("{figure.claim}"), the command prints {printed[1]}'


def clockless(line):
    return CLOCK.sub(" #", line.rstrip())


def shown_fault(expected, output):
    """Empty when the output holds the lines shown, in order; `...` skips any number of them."""
    found = [clockless(line) for line in output.splitlines()]
    at, free = 0, False
    for line in expected:
        if line.strip() == "...":
            free = True
            continue
        want = clockless(line)
        if free:
            while at < len(found) and found[at] != want:
                at += 1
        if at >= len(found) or found[at] != want:
            instead = found[at] if at < len(found) else "nothing more"
            return f"shown:   {line}\n    printed: {'no such line from there on' if free else instead}"
        at, free = at + 1, False
    if not free and at < len(found):
        return f"the page ends here, the command goes on with: {found[at]}"
    return ""


def refreshed(expected, output):
    """The lines shown as they are printed today: all of them, or where `...` leaves some out, those most like."""
    found = [line.rstrip() for line in output.splitlines()]
    if not any(line.strip() == "..." for line in expected):
        return [found[i] if i >= len(expected) or clockless(expected[i]) != clockless(found[i]) else expected[i]
                for i in range(len(found))]
    lines = []
    for line in expected:
        known = line.strip() == "..." or clockless(line) in map(clockless, found)
        like = [] if known else difflib.get_close_matches(line, found, 1, 0.5)
        lines += [line] if known else like
    return lines


class Page:
    def __init__(self, path, text=None):
        self.path = pathlib.Path(path)
        self.text = self.path.read_text() if text is None else text
        self.steps = []  # Commands, Shown and Figure, in the page's order
        self.faults = []  # (line, what): faults of the page itself
        self.prose = []  # (line number, text) without blocks and comments
        self._given = []  # (line, string)
        self._relations = []
        self._read()
        self._tie()

    def _fault(self, line, what):
        self.faults.append((line, what))

    def _read(self):
        lines = self.text.split("\n")
        notes, i = [], 0
        while i < len(lines):
            start = i
            if lines[i].startswith("```"):
                end = next((j for j in range(i + 1, len(lines)) if lines[j].startswith("```")), None)
                if end is None:
                    raise PageError(f"{self.path}:{i + 1}: a block without an end")
                self._block(start + 1, lines[i][3:].strip(), lines[i + 1:end], notes)
                notes, i = [], end + 1
                continue
            if lines[i].startswith("<!--"):
                while "-->" not in lines[i]:
                    i += 1
                    if i == len(lines):
                        raise PageError(f"{self.path}:{start + 1}: a comment without an end")
                comment = "\n".join(lines[start:i + 1])[4:].rpartition("-->")[0].strip()
                self._comment(start + 1, comment, notes)
                i += 1
                continue
            if re.match(r"    \S", lines[i]) and (i == 0 or not lines[i - 1].strip()):
                self._fault(i + 1, "an indented block is not executed; use ```sh and ```text")
            if lines[i].strip():
                self.prose.append((i + 1, lines[i]))
                if notes:
                    self._fault(i + 1, f"the comment before this line waits for a block: {notes[0][1]}")
                    notes = []
            i += 1

    def _comment(self, line, comment, notes):
        word = re.match(r"(status|the demo|not run|shows|figures|given)\b:?\s*", comment)
        if not word:
            self._fault(line, f"unknown comment: {comment.splitlines()[0]}")
        elif word[1] == "figures":
            command, *relations = comment[word.end():].split("\n")
            while command.endswith("\\"):
                command = command[:-1] + relations.pop(0).strip()
            for relation in relations:
                if relation.strip():
                    self._figure(line, command.strip(), relation)
        elif word[1] == "given":
            strings, _, reason = comment[word.end():].partition(";")
            if not reason.strip():
                self._fault(line, "`given` has to say why no command prints these figures")
            self._given += [(line, s) for s in re.findall(r'"([^"]*)"', strings)]
        else:
            notes.append((word[1], comment[word.end():].strip()))

    def _figure(self, line, command, relation):
        parts = RELATION.match(relation)
        if not parts:
            self._fault(line, f"not a relation of two patterns: {relation.strip()}")
            return
        figure = Figure(line, command, parts[1], parts[2], float(parts[3] or 1), parts[4], "")
        self.steps.append(figure)
        self._relations.append(figure)

    def _block(self, line, language, body, notes):
        said = dict(notes)
        if language == "sh":
            self.steps.append(Commands(line, "\n".join(body), int(said.get("status") or 0),
                                       "the demo" in said, said.get("not run", "")))
            if "not run" in said and not said["not run"]:
                self._fault(line, "`not run` has to say why")
        elif language == "text":
            if "shows" not in said and not any(isinstance(s, Commands) for s in self.steps):
                self._fault(line, "output without a command before it")
            else:
                self.steps.append(Shown(line, body, said.get("shows", "")))
        else:
            self._fault(line, f"a block of kind '{language}': use sh for commands, text for their output")

    def _region(self, line):
        """The prose from a line to the next heading, as one string, with each character's line."""
        text = []
        for at, words in self.prose:
            if at > line:
                if words.startswith("#") and text:
                    break
                text.append(words)
        return " ".join(" ".join(text).split())

    def _tie(self):
        """Gives each figure its prose, and finds figures that nothing ties."""
        for figure in self._relations:
            figure.prose = self._region(figure.line)
        whole = " ".join(" ".join(words for _, words in self.prose).split())
        hide = lambda match: " " * len(match[0])
        bare = re.sub(r"`[^`]*`", hide, whole)
        bare = re.sub(r"\]\([^)]*\)", hide, bare)
        tied = set()
        for figure in self._relations:
            start = whole.find(figure.prose[:200])
            match = pattern(figure.claim).search(whole, max(start, 0))
            if match:
                tied.add(match.start(1))
        for line, given in self._given:
            places = [m.start() for m in re.finditer(re.escape(given), whole)]
            if not places:
                self._fault(line, f'"{given}" is given but not in the text')
            for place in places:
                tied.update(range(place, place + len(given)))
        for match in TO_TIE.finditer(bare):
            if match.start() not in tied and match.start() - 1 not in tied:
                around = whole[max(0, match.start() - 40):match.end() + 20]
                line = next((at for at, words in self.prose if match[0] in words), 1)
                self._fault(line, f"nothing ties the figure {match[0]} in: {around}")

    def broken_links(self):
        """Local targets of links and pictures that do not exist."""
        for line, words in self.prose:
            for target in re.findall(r"\]\(([^)#]+)[^)]*\)", words):
                if "://" not in target and not (self.path.parent / target).exists():
                    yield line, f"links to {target}, which does not exist"

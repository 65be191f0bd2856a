"""The checks of pages.py themselves: each passes on the right page and fails on the wrong one."""
import unittest

import pages

PAGE = """# A page

```sh
plateloom solve shoot -o square.jsonl
```

```text
24 plates, 0.044 px RMS in 3.5 s
...
wrote square.jsonl
```

<!-- figures: above
  "within # px" = "plates, # px"
  "# plates" = "# plates,"
-->
The 24 plates agree within 0.04 px, in 4 rows.
"""
OUTPUT = "24 plates, 0.044 px RMS in 12 s\na line more\nwrote square.jsonl\n"


def steps(text, kind):
    return [step for step in pages.Page("page.md", text).steps if isinstance(step, kind)]


class ShownOutput(unittest.TestCase):
    def fault(self, change=lambda lines: lines):
        return pages.shown_fault(change(steps(PAGE, pages.Shown)[0].lines), OUTPUT)

    def test_same_lines_pass_whatever_the_clock(self):
        self.assertEqual(self.fault(), "")

    def test_a_wrong_digit_fails(self):
        self.assertIn("0.044", self.fault(lambda lines: [lines[0].replace("0.044", "0.043"), *lines[1:]]))

    def test_a_line_left_out_without_saying_so_fails(self):
        self.assertIn("a line more", self.fault(lambda lines: [lines[0], lines[2]]))

    def test_a_line_that_is_not_printed_fails(self):
        self.assertIn("no such line", self.fault(lambda lines: [*lines[:2], "wrote circle.jsonl"]))

    def test_an_end_that_is_not_the_end_fails(self):
        self.assertIn("a line more", self.fault(lambda lines: lines[:1]))

    def test_lines_in_another_order_fail(self):
        self.assertNotEqual(self.fault(lambda lines: ["...", lines[2], lines[0], "..."]), "")


class RefreshedOutput(unittest.TestCase):
    def test_a_changed_line_is_replaced_and_clocks_stay(self):
        shown = steps(PAGE, pages.Shown)[0].lines
        today = OUTPUT.replace("wrote square.jsonl", "wrote square.jsonl (24 plates)")
        self.assertEqual(pages.refreshed(shown, today), [shown[0], "...", "wrote square.jsonl (24 plates)"])

    def test_a_whole_output_takes_every_line(self):
        self.assertEqual(pages.refreshed(["one 1 s", "two"], "one 2 s\ntwo!\nthree\n"), ["one 1 s", "two!", "three"])


class ClaimedFigures(unittest.TestCase):
    def faults(self, page=PAGE, output=OUTPUT):
        return [pages.figure_fault(figure, output) for figure in steps(page, pages.Figure)]

    def test_figures_hold_to_the_digits_printed(self):
        self.assertEqual(self.faults(), ["", ""])

    def test_a_wrong_digit_in_the_text_fails(self):
        self.assertIn("0.05", self.faults(PAGE.replace("within 0.04", "within 0.05"))[0])

    def test_another_output_fails(self):
        self.assertIn("0.046", self.faults(output=OUTPUT.replace("0.044", "0.046"))[0])

    def test_an_output_without_the_figure_fails(self):
        self.assertIn("no line", self.faults(output="nothing")[0])

    def test_a_text_without_the_claim_fails(self):
        self.assertIn("does not say", self.faults(PAGE.replace("agree within", "agree to"))[0])

    def test_bounds_and_factors(self):
        page = '<!-- figures: x\n "below # %" > 100 * "share #"\n "at least # px" < "width #" -->\nbelow 2.5 %, at least 5 px\n'
        self.assertEqual(self.faults(page, "share 0.024 width 5.5"), ["", ""])
        self.assertNotIn("", self.faults(page, "share 0.026 width 4.5"))


class FaultsOfThePage(unittest.TestCase):
    def faults(self, text):
        return [what for _, what in pages.Page("page.md", text).faults]

    def test_a_whole_page_has_none(self):
        self.assertEqual(self.faults(PAGE), [])

    def test_a_figure_that_nothing_ties(self):
        self.assertIn("0.31", self.faults(PAGE + "\nAnother 0.31 px.\n")[0])
        self.assertIn("31", self.faults(PAGE + "\nAnother 31 %.\n")[0])

    def test_a_given_figure_is_tied_and_says_why(self):
        given = '\n<!-- given: "30 %"; the plan\'s default -->\nOverlap is 30 %.\n'
        self.assertEqual(self.faults(PAGE + given), [])
        self.assertNotEqual(self.faults(PAGE + given.replace("; the plan's default", "")), [])
        self.assertNotEqual(self.faults(PAGE + given.replace("is 30", "is 40")), [])

    def test_code_and_links_are_no_claims(self):
        self.assertEqual(self.faults(PAGE + "\n`--sensor 36x20.25`, [a page](page-2.5.md)\n"), [])

    def test_blocks_that_nothing_executes(self):
        self.assertIn("indented", self.faults("Text\n\n    plateloom plan\n")[0])
        self.assertIn("kind", self.faults("```bash\nplateloom plan\n```\n")[0])
        self.assertIn("without a command", self.faults("```text\nhello\n```\n")[0])
        self.assertIn("why", self.faults("<!-- not run: -->\n```sh\ntrue\n```\n")[0])

    def test_comments_that_reach_nothing(self):
        self.assertIn("unknown", self.faults("<!-- staus 1 -->\n")[0])
        self.assertIn("waits", self.faults("<!-- status 1 -->\nText, then\n\n```sh\nfalse\n```\n")[0])

    def test_status_and_reason_reach_their_block_only(self):
        text = "<!-- status 1 -->\n```sh\nfalse\n```\n<!-- not run: no Slurm -->\n```sh\nsubmit\n```\n```sh\ntrue\n```\n"
        found = [(c.status, c.not_run) for c in steps(text, pages.Commands)]
        self.assertEqual(found, [(1, ""), (0, "no Slurm"), (0, "")])


if __name__ == "__main__":
    unittest.main()

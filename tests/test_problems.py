"""What is told of input that is refused."""

from soakline.problems import LONGEST_FOUND, InputProblem, InputRefused


def test_a_problem_is_one_line_whatever_the_file_holds() -> None:
    """Line ends, a terminal's own commands, and letters that turn the line round."""
    odd = InputProblem("f\n.gpkg", "layer soils", '"cl\nay\x1b[2J\u202eb"', "text", "Mend\tit.")
    assert str(odd) == (
        r'f\n.gpkg: layer soils: found "cl\nay\x1b[2J\u202eb"; allowed: text. Mend\tit.'
    )
    assert len(str(InputRefused([odd, odd])).splitlines()) == 2


def test_a_value_of_a_page_is_shown_by_its_start() -> None:
    long = InputProblem("r.csv", "row 2", f'"{"x" * 5000}"', "a number from 0 to 9 m")
    told = str(long)
    assert told.startswith('r.csv: row 2: found "xxx')
    assert told.endswith("x…; allowed: a number from 0 to 9 m")
    assert len(told) == len("r.csv: row 2: found ; allowed: a number from 0 to 9 m") + LONGEST_FOUND


def test_words_of_any_language_stay_as_they_are() -> None:
    own = InputProblem("Zürich/水.gpkg", "", "1 m³ – ‰ é", "at least 2 m²")
    assert str(own) == "Zürich/水.gpkg: found 1 m³ – ‰ é; allowed: at least 2 m²"

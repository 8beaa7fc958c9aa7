"""Labels in narrow columns stay apart."""

from simbot.report.labels import cut


def test_a_long_label_loses_its_middle_and_keeps_its_end():
    assert cut("lift to 0.62 m", 14) == "lift to 0.62 m"
    assert cut("lift to 0.62 m", 12) == "lift 0.62 m"
    rows = {cut(f"drive to the_lantern_row_{number}", 17) for number in range(1, 4)}
    assert len(rows) == 3
    assert all(len(row) == 17 and ".." in row for row in rows)

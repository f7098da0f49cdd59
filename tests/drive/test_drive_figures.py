"""The strip: words that never collide, marks that carry the verdicts."""

import sys
from pathlib import Path

import numpy as np
import pytest

from tickover.drive import check_drive, load_conditions, strip
from tickover.drive.figures import fold

sys.path.insert(0, str(Path(__file__).parent))
from drive_logs import log, mock_drive

ALL = load_conditions().for_engine(diesel=False)


@pytest.mark.parametrize("room", [320, 360, 640, 920, 1280])
def test_no_word_meets_another_or_leaves_the_picture(room):
    assert strip(check_drive(mock_drive(), ALL), room=room).faults() == []


def test_a_loss_is_carried_up_with_its_time():
    picture = strip(check_drive(mock_drive(), ALL))
    texts = [label.text for label in picture.labels]
    assert "12:04, fell to 79.6" in texts
    assert "2:41 of 3:00" in texts
    assert any(t.startswith("met ") for t in texts)


def test_the_picture_says_in_words_what_it_shows():
    picture = strip(check_drive(mock_drive(), ALL))
    assert "2:41 of 3:00; lost at 12:04 when speed fell to 79.6" in picture.sentence
    assert 'role="img"' in picture.svg("day")


def test_a_stretch_cut_off_is_dashed_and_a_short_one_hatched():
    t = np.arange(0.0, 300.0)
    cut = check_drive(log(t, engine=900, speed=np.where(t < 150, 50, 90), coolant=85), ALL)
    dashed = strip(cut, [c for c in cut.conditions if c.id == "cat-cruise"]).svg("day")
    assert 'stroke-dasharray="4 3"' in dashed
    short = strip(check_drive(mock_drive(), ALL)).svg("day")
    assert "#D55E00" in short


def test_no_speed_is_no_reason_for_no_picture():
    t = np.arange(0.0, 900.0)
    assert strip(check_drive(log(t, engine=900, coolant=80), ALL)).faults() == []


def test_no_room_is_refused():
    with pytest.raises(ValueError, match="no strip"):
        strip(check_drive(mock_drive(), ALL), room=200)


def test_a_figure_and_its_unit_stay_together():
    for room in range(40, 200, 7):
        assert not any(line.startswith("s ") for line in fold("the longest 42 s over and on", room, "form", 14))

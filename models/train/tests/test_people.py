"""Who is held out from the twin, and what file names say about their clips."""

from pathlib import Path

import mdl
import people
import pytest


def test_about_fifteen_of_a_hundred_people_are_held_out_each_with_all_their_clips() -> None:
    held = [people.held_out(f"duke-{i}") for i in range(2000)]
    assert sum(held) / 2000 == pytest.approx(0.15, abs=0.025)
    assert not people.held_out("kokoro-1") and not people.held_out("espeak:en-us+f2")
    assert all(people.held_out(name) for name in people.KEPT_OUT)


def test_a_clip_of_two_voices_is_held_out_if_one_of_them_is() -> None:
    assert people.held_out("espeak:en-us+f2|fsdd-theo")
    assert not people.held_out("espeak:en-us+f2|csmash:speaker")


def test_names_of_files_say_who_says_what(tmp_path: Path) -> None:
    names: dict[str, tuple[str, tuple[str, ...]] | None] = {
        "duke_digits/dab_two_3.flac": ("duke-dab", ("two",)),
        "commands_words/00b0_tree_0.flac": ("commands-00b0", ("[unk]",)),
        "sailing_numbers/he_nineteen_1.flac": ("sailing-he", ("nineteen",)),
        "lent_numbers/3f09_forty-two_2.flac": ("lent-3f09", ("forty", "two")),
        "family_letters/v_letter-o_1.flac": None,  # how "oh" sounds
        "fsdd/7_theo_3.wav": ("fsdd-theo", ("seven",)),
    }
    for name in names:
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).touch()
    read = {(r.speaker, r.words) for r in people.recordings(tmp_path)}
    assert read == {found for found in names.values() if found}


def test_a_model_is_read_back_as_it_was_written() -> None:
    import export

    folder = Path(__file__).parents[2] / "number-en"
    written = (folder / "am" / "final.mdl").read_bytes()
    again = export.final_mdl(mdl.read(folder), 16)
    assert len(again) == len(written)
    assert sum(a != b for a, b in zip(again, written, strict=True)) < 2000  # steps of 16 bits

"""The model folder as it is shipped."""

import json
from importlib import import_module
from pathlib import Path


def test_it_is_small(model_folder: Path) -> None:
    size = sum(p.stat().st_size for p in model_folder.rglob("*") if p.is_file())
    assert size <= 6 * 2**20


def test_its_description_names_files_that_are_there(model_folder: Path) -> None:
    card = json.loads((model_folder / "model.json").read_text())
    assert card["language"] == "en"
    assert card["sample_rate"] == 16_000
    assert (model_folder / card["card"]).is_file()
    spans = {(g["lowest"], g["highest"]) for g in card["graphs"]}
    assert {(0, 9), (0, 20), (0, 99), (0, 999), (0, 9999), (-9999, 9999)} <= spans
    for entry in [*card["graphs"], *card["self_test"]]:
        assert (model_folder / entry["file"]).is_file(), entry
    assert len(card["self_test"]) >= 2


def test_it_was_exported_with_the_words_and_phones_of_the_training_scripts(
    model_folder: Path,
) -> None:
    graph = import_module("graph")
    assert (model_folder / "graph" / "words.txt").read_text() == graph.words_txt()
    boundary = model_folder / "graph" / "phones" / "word_boundary.int"
    card = json.loads((model_folder / "model.json").read_text())
    assert boundary.read_text() == graph.word_boundaries(card.get("unknown_chains", 1))


def test_the_acoustic_model_starts_as_kaldi_writes_it(model_folder: Path) -> None:
    data = (model_folder / "am" / "final.mdl").read_bytes()
    assert data.startswith(b"\0B<TransitionModel> ")
    assert data.count(b"<Nnet3> ") == 1
    assert data.rstrip().endswith(b"<Priors> FV \x04\0\0\0\0")

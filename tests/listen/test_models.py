"""Model folders: what is wrong with one is said in one line; the right graph is loaded."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from oralquiz.errors import BadInput, ModelError
from oralquiz.listen import models
from oralquiz.listen.models import Graph, find_model, loadable, read_model

CARD: dict[str, Any] = {
    "name": "tiny",
    "language": "en",
    "version": "1",
    "unknown": ["[unk]"],
    "graphs": [
        {"file": "graph/HCLG.fst", "lowest": -9999, "highest": 9999},
        {"file": "graphs/0-99.fst", "lowest": 0, "highest": 99},
        {"file": "graphs/0-9.fst", "lowest": 0, "highest": 9},
    ],
}


def make(folder: Path, card: dict[str, Any] | None = CARD, without: str = "") -> Path:
    """A folder that looks like a model; each file contains its own name."""
    names = ["am/final.mdl", "conf/mfcc.conf", "conf/model.conf", "graph/HCLG.fst"]
    names += ["graph/words.txt", "graphs/0-99.fst", "graphs/0-9.fst"]
    for name in names:
        if name != without:
            file = folder / name
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_text(name)
    if card is not None:
        (folder / "model.json").write_text(json.dumps(card))
    return folder


def test_what_the_card_says(tmp_path: Path) -> None:
    model = read_model(make(tmp_path / "tiny"))
    assert (model.name, model.language, model.version) == ("tiny", "en", "1")
    assert (model.lowest, model.highest) == (-9999, 9999)
    assert not model.runtime_grammar


@pytest.mark.parametrize(
    ("limits", "file"),
    [
        ((0, 99), "graphs/0-99.fst"),
        ((0, 50), "graphs/0-99.fst"),
        ((3, 8), "graphs/0-9.fst"),
        ((-5, 5), "graph/HCLG.fst"),
        ((0, 100), "graph/HCLG.fst"),
    ],
)
def test_the_narrowest_graph_that_knows_the_range(
    tmp_path: Path, limits: tuple[int, int], file: str
) -> None:
    graph = read_model(make(tmp_path)).graph(*limits)
    assert graph is not None
    assert graph.file == file


def test_a_range_beyond_the_model(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="model tiny hears -9999 to 9999, not 0 to 10000"):
        read_model(make(tmp_path)).graph(0, 10_000)


@pytest.mark.parametrize(
    "name",
    ["am/final.mdl", "conf/mfcc.conf", "conf/model.conf", "graph/HCLG.fst", "graphs/0-9.fst"],
)
def test_a_missing_file_is_named(tmp_path: Path, name: str) -> None:
    folder = make(tmp_path / "tiny", without=name)
    with pytest.raises(ModelError) as error:
        read_model(folder)
    assert str(error.value) == f"model {folder}: {name} missing"


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("{", "model.json cannot be read"),
        ("[]", "model.json is not a table of names and values"),
        (
            '{"graphs": [{"file": "graph/HCLG.fst"}]}',
            "model.json or calibration.json not understood",
        ),
        ('{"graphs": 7}', "model.json or calibration.json not understood"),
        ('{"sample_rate": "fast"}', "model.json or calibration.json not understood"),
    ],
)
def test_a_bad_card_is_one_line(tmp_path: Path, text: str, line: str) -> None:
    folder = make(tmp_path / "tiny")
    (folder / "model.json").write_text(text)
    with pytest.raises(ModelError) as error:
        read_model(folder)
    assert str(error.value).startswith(f"model {folder}: {line}")
    assert "\n" not in str(error.value)


def test_not_a_folder(tmp_path: Path) -> None:
    file = tmp_path / "file"
    file.touch()
    with pytest.raises(ModelError, match="not a folder"):
        find_model(file)


@pytest.mark.parametrize(
    ("name", "language"),
    [("vosk-model-small-ko-0.22", "ko"), ("number-en", "en"), ("vosk_model_de", "de"), ("m", "en")],
)
def test_the_language_that_a_folder_name_tells(tmp_path: Path, name: str, language: str) -> None:
    folder = make(tmp_path / "models" / name, card=None)
    assert read_model(folder).language == language
    assert read_model(folder, "tr").language == "tr"


def test_a_name_is_looked_up_and_the_first_found_is_used(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    mine, theirs = tmp_path / "mine", tmp_path / "theirs"
    make(mine / "tiny")
    make(theirs / "tiny")
    make(theirs / "other-ko", card=None)
    (theirs / "train").mkdir()
    monkeypatch.setattr(models, "model_folders", lambda: [mine, theirs, tmp_path / "nowhere"])
    assert find_model("tiny").path == mine / "tiny"
    assert [path.name for path in models.model_paths()] == ["tiny", "other-ko"]
    with pytest.raises(ModelError, match="no recognition model 'number-en'; looked in"):
        find_model()


@pytest.mark.parametrize("links", [True, False])
def test_the_folder_that_vosk_loads(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, links: bool
) -> None:
    if not links:

        def refuse(self: Path, target: Path) -> None:
            raise OSError("no links here")

        monkeypatch.setattr(Path, "symlink_to", refuse)
    model = read_model(make(tmp_path / "tiny"))
    with loadable(model, Graph("graphs/0-9.fst", 0, 9)) as folder:
        assert (folder / "graph/HCLG.fst").read_text() == "graphs/0-9.fst"
        assert (folder / "graph/words.txt").read_text() == "graph/words.txt"
        assert (folder / "am/final.mdl").read_text() == "am/final.mdl"
        assert (folder / "am/final.mdl").is_symlink() == links
    assert not folder.exists()
    with loadable(model, model.graph(0, 9999)) as folder:
        assert folder == model.path


def test_a_home_of_its_own_holds_models_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("ORALQUIZ_HOME", str(tmp_path))
    assert models.model_folders()[0] == tmp_path / "data" / "models"
    make(tmp_path / "data" / "models" / "tiny")
    assert find_model("tiny").path == tmp_path / "data" / "models" / "tiny"

"""Recognition models on disk: where they are, what they can hear, the folder that Vosk loads.

A model is a folder in Vosk's on-disk layout. Our own has a ``model.json`` beside it that names its
language, its vocabulary and several graphs, each strict about one range of numbers: the narrower
the graph, the fewer numbers can be confused.
"""

from __future__ import annotations

import contextlib
import json
import re
import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from oralquiz.errors import BadInput, ModelError
from oralquiz.folders import data_folder

DEFAULT = "number-en"
"""The name of the model that comes with the package."""
CARD = "model.json"
CALIBRATION = "calibration.json"
FRAMES = "--frames-per-chunk="
NEEDED = ("am/final.mdl", "conf/mfcc.conf", "conf/model.conf")
READ = (
    *NEEDED,
    "am/global_cmvn.stats",
    "conf/global_cmvn.stats",
    "graph/words.txt",
    "graph/phones/word_boundary.int",
)
"""What Vosk reads of a model besides its graph, where it is there."""
FULL_GRAPH = "graph/HCLG.fst"
RUNTIME_GRAPH = ("graph/HCLr.fst", "graph/Gr.fst")


@dataclass(frozen=True)
class Graph:
    """A decoding graph that knows the numbers ``lowest`` .. ``highest`` and no other."""

    file: str
    lowest: int
    highest: int


@dataclass(frozen=True)
class SelfTest:
    """A clip, relative to the model's folder, and the number that is said in it."""

    file: str
    value: int


@dataclass(frozen=True)
class Model:
    """A model folder that was checked and found complete.

    ``graphs`` is empty for a model whose grammar is given at run time. ``unknown`` are the words
    by which it writes speech that is not a number, and noise.
    """

    path: Path
    name: str
    language: str
    version: str
    sample_rate: int
    graphs: tuple[Graph, ...]
    unknown: frozenset[str]
    self_tests: tuple[SelfTest, ...] = ()
    calibration: dict[str, float] = field(default_factory=dict)

    @property
    def runtime_grammar(self) -> bool:
        """Whether its grammar is given at run time, since it has no graph of its own."""
        return not self.graphs and not (self.path / FULL_GRAPH).is_file()

    @property
    def lowest(self) -> int | None:
        return min((graph.lowest for graph in self.graphs), default=None)

    @property
    def highest(self) -> int | None:
        return max((graph.highest for graph in self.graphs), default=None)

    def graph(self, lowest: int, highest: int) -> Graph | None:
        """The narrowest graph that knows every number of the range; None: given at run time.

        Raises BadInput when the model cannot hear the whole range.
        """
        if not self.graphs:
            return None
        fitting = [g for g in self.graphs if g.lowest <= lowest and highest <= g.highest]
        if not fitting:
            raise BadInput(
                f"model {self.name} hears {self.lowest} to {self.highest}, "
                f"not {lowest} to {highest}"
            )
        return min(fitting, key=lambda graph: graph.highest - graph.lowest)


def model_folders() -> list[Path]:
    """The folders that are searched for models; of two with one name the first found is used."""
    package = Path(__file__).resolve().parent.parent
    return [
        data_folder() / "models",
        package.parent / "models",
        package / "_models",
    ]


def model_paths() -> list[Path]:
    """Every folder among them that looks like a model; a name counts once."""
    found: dict[str, Path] = {}
    for folder in model_folders():
        if folder.is_dir():
            for path in sorted(folder.iterdir()):
                if (path / "am").is_dir() or (path / CARD).is_file():
                    found.setdefault(path.name, path)
    return list(found.values())


def find_model(name_or_path: str | Path | None = None, language: str | None = None) -> Model:
    """The model of that name or in that folder; None: the one that comes with the package.

    Raises ModelError, in one line, for a model that is missing or incomplete.
    """
    wanted = str(name_or_path) if name_or_path is not None else DEFAULT
    for path in model_paths():
        if path.name == wanted:
            return read_model(path, language)
    path = Path(wanted)
    if name_or_path is None or not path.exists():
        folders = ", ".join(str(folder) for folder in model_folders())
        raise ModelError(f"no recognition model {wanted!r}; looked in {folders}")
    return read_model(path, language)


def read_model(path: Path, language: str | None = None) -> Model:
    """The model in ``path``. Raises ModelError, in one line, when it is incomplete."""
    if not path.is_dir():
        raise ModelError(f"model {path}: not a folder")
    missing = [name for name in NEEDED if not (path / name).is_file()]
    static = (path / FULL_GRAPH).is_file()
    if not static and not all((path / name).is_file() for name in RUNTIME_GRAPH):
        missing.append(FULL_GRAPH)
    if missing:
        raise ModelError(f"model {path}: {', '.join(missing)} missing")
    card = _json(path / CARD)
    try:
        graphs = tuple(
            Graph(str(graph["file"]), int(graph["lowest"]), int(graph["highest"]))
            for graph in card.get("graphs", [])
        )
        tests = tuple(
            SelfTest(str(test["file"]), int(test["value"])) for test in card.get("self_test", [])
        )
        model = Model(
            path=path,
            name=str(card.get("name", path.name)),
            language=language or str(card.get("language", _language_in(path))),
            version=str(card.get("version", "")),
            sample_rate=int(card.get("sample_rate", 16_000)),
            graphs=graphs,
            unknown=frozenset(card.get("unknown", ["[unk]", "<unk>"])),
            self_tests=tests,
            calibration={k: float(v) for k, v in _json(path / CALIBRATION).items()},
        )
    except (AttributeError, KeyError, TypeError, ValueError) as error:
        raise ModelError(
            f"model {path}: {CARD} or {CALIBRATION} not understood: {error}"
        ) from error
    for graph in graphs:
        if not (path / graph.file).is_file():
            raise ModelError(f"model {path}: {graph.file} missing")
    return model


def _json(path: Path) -> dict[str, Any]:
    if not path.is_file():
        return {}
    try:
        value = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError) as error:
        raise ModelError(f"model {path.parent}: {path.name} cannot be read: {error}") from error
    if not isinstance(value, dict):
        raise ModelError(f"model {path.parent}: {path.name} is not a table of names and values")
    return value


def _language_in(path: Path) -> str:
    """The language by the usual naming of folders, as in ``vosk-model-small-ko-0.22``."""
    for name in (path.name, path.parent.name):
        for part in re.split(r"[-_]", name):
            if re.fullmatch(r"[a-z]{2}", part):
                return part
    return "en"


def needed_files(model: Model, graph: Graph | None) -> dict[str, Path]:
    """The files with which Vosk loads ``model`` with ``graph``, by the names under which it looks
    for them."""
    source = model.path.resolve()
    named = {file: source / file for file in READ}
    named[FULL_GRAPH] = source / (FULL_GRAPH if graph is None else graph.file)
    return {file: path for file, path in named.items() if path.is_file()}


@contextlib.contextmanager
def loadable(model: Model, graph: Graph | None, frames: int | None = None) -> Iterator[Path]:
    """A folder from which Vosk loads ``model`` with ``graph``; it is needed only while it loads.

    ``frames``: how many frames of 10 ms the network computes in one go (None: as the model says).

    Vosk reads everything at once, from fixed names. So another graph needs a folder of its own for
    a moment: links, or copies where links are not possible, in the temporary folder, which works
    with a read-only installation and beside other processes.
    """
    if frames is None and (graph is None or graph.file == FULL_GRAPH):
        yield model.path
        return
    with tempfile.TemporaryDirectory(prefix="oralquiz-model-") as name:
        folder = Path(name)
        for file, source in needed_files(model, graph).items():
            _link(source, folder / file)
        if frames is not None:
            _say_frames(folder / "conf" / "model.conf", frames)
        yield folder


def _say_frames(conf: Path, frames: int) -> None:
    """Put a copy in the place of the link ``conf``, with ``frames`` for what the model says."""
    said = [line for line in conf.read_text().splitlines() if not line.startswith(FRAMES)]
    conf.unlink()
    conf.write_text("\n".join([f"{FRAMES}{frames}", *said]) + "\n")


def _link(source: Path, target: Path) -> None:
    target.parent.mkdir(parents=True, exist_ok=True)
    try:
        target.symlink_to(source)
    except OSError:
        shutil.copyfile(source, target)

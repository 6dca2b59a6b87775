"""One manifest.tsv of all sources, for training: rewritten in one step."""

import json
from pathlib import Path

COLUMNS = ("path", "words", "speaker", "engine", "kind", "split", "text")
KINDS = {"number": "number", "hesitation": "phrase", "other": "other"}


def merge(root: Path) -> None:
    """Gather every SOURCE/manifest.jsonl; speech without a number gets the word "[unk]"."""
    rows = ["\t".join(COLUMNS)]
    for manifest in sorted(root.glob("*/manifest.jsonl")):
        for line in map(json.loads, manifest.read_text().splitlines()):
            rows.append(
                "\t".join(
                    (
                        f"{manifest.parent.name}/{line['file']}",
                        line["words"] or "[unk]",
                        line["speaker"],
                        line["source"],
                        KINDS[line["kind"]],
                        line["split"],
                        line["text"],
                    )
                )
            )
    fresh = root / "manifest.tsv.tmp"
    fresh.write_text("\n".join(rows) + "\n")
    fresh.replace(root / "manifest.tsv")
    print(f"manifest.tsv: {len(rows) - 1} clips")

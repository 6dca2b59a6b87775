"""A model read back, trained further, averaged with what it came from, and made narrower."""

from dataclasses import replace
from pathlib import Path

import blend
import mdl
import narrow
import pytest
import torch
from network import Network, pad

MODEL = Path(__file__).resolve().parents[2] / "number-en"


def scores(network: Network, rows: torch.Tensor) -> torch.Tensor:
    with torch.no_grad():
        return network.eval()(pad(rows, network.shape))[0]


@pytest.fixture(scope="module")
def rows() -> torch.Tensor:
    torch.manual_seed(1)
    return torch.randn(4, 40, 40) * 2 + 12


def test_a_network_made_fit_for_training_hears_the_same(rows: torch.Tensor) -> None:
    plain, dressed = mdl.read(MODEL), mdl.read(MODEL)
    mdl.dress(dressed, [rows, rows + 1])
    assert torch.allclose(scores(plain, rows), scores(dressed, rows), atol=1e-3)
    assert float(dressed.blocks[0].norm.running_var.std()) > 0
    assert torch.equal(dressed.output_ce.weight, dressed.output.weight)


def test_an_average_lies_between_the_two(rows: torch.Tensor) -> None:
    old, new = mdl.read(MODEL), mdl.read(MODEL)
    with torch.no_grad():
        new.output.weight.mul_(3)
    before, after = scores(old, rows), scores(new, rows)
    mixed = scores(blend.blended(old, new, 0.25), rows)
    assert torch.allclose(mixed, 0.25 * before + 0.75 * after, atol=1e-3)


def test_a_network_made_no_narrower_hears_the_same(rows: torch.Tensor) -> None:
    old = mdl.read(MODEL)
    same = narrow.narrowed(old, old.shape)
    assert torch.allclose(scores(old, rows), scores(same, rows), atol=2e-3)


def test_what_is_never_used_is_what_a_narrower_network_lacks(rows: torch.Tensor) -> None:
    old = mdl.read(MODEL)
    unused = [1, 5, 9]
    with torch.no_grad():
        for layer in (old.output, *(block.splice.affine for block in old.blocks)):
            layer.weight[:, [u + k for k in range(0, layer.in_channels, 384) for u in unused]] = 0
    shape = replace(old.shape, width=old.shape.width - len(unused))
    narrower = narrow.narrowed(old, shape)
    assert torch.allclose(scores(old, rows), scores(narrower, rows), atol=2e-3)

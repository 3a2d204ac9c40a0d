"""How `weights/clarity.npz` was fitted, and the five two-layer perceptrons that `lumps_fit.py` fits too.

    python -m jartest.imaging.fit.texture_fit FIGURES.npz OUT.npz

FIGURES.npz holds `figures` (one row a layer: `flocs.clarity_features` of its patch in the true frame) and
`label` (0 or 1): 567 layers, 107 seen through.  Seeds 0 to 4.  Area under the curve on five left-out
fifths: 0.71 (weak).  Needs torch.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray
from torch import nn

__all__ = ["fit_members", "main"]

_HIDDEN, _MEMBERS, _STEPS = 12, 5, 300


def _fit_one(x: torch.Tensor, y: torch.Tensor, seed: int, hidden: int, count: int) -> nn.Sequential:
    torch.manual_seed(seed)
    net = nn.Sequential(nn.Linear(x.shape[1], hidden), nn.Tanh(), nn.Dropout(0.2), nn.Linear(hidden, 1))
    steps = torch.optim.AdamW(net.parameters(), lr=5e-3, weight_decay=0.05)
    weigh = nn.BCEWithLogitsLoss(pos_weight=(y == 0).sum() / (y == 1).sum())
    for _ in range(count):
        steps.zero_grad()
        weigh(net(x + 0.15 * torch.randn_like(x))[:, 0], y).backward()
        steps.step()
    return net.eval()


def fit_members(
    figures: NDArray[np.float64],
    label: NDArray[np.float64],
    *,
    hidden: int = _HIDDEN,
    steps: int = _STEPS,
    bound: float | None = None,
) -> dict[str, NDArray[np.float32]]:
    """Weights of all members side by side, as `flocs.weigh` applies them.

    `bound`: figures count for no more than so many spreads from the mean.
    """
    mean, spread = figures.mean(axis=0), figures.std(axis=0) + 1e-6
    x = torch.tensor((figures - mean) / spread, dtype=torch.float32)
    x = x if bound is None else x.clamp(-bound, bound)
    y = torch.tensor(label, dtype=torch.float32)
    nets = [_fit_one(x, y, seed, hidden, steps) for seed in range(_MEMBERS)]
    last = np.zeros((_MEMBERS, _MEMBERS * hidden), np.float32)
    for k, net in enumerate(nets):
        last[k, k * hidden : (k + 1) * hidden] = net[3].weight.detach().numpy()[0]
    return ({} if bound is None else {"bound": np.array(bound, np.float32)}) | {
        "mean": mean.astype(np.float32),
        "spread": spread.astype(np.float32),
        "w1": np.concatenate([n[0].weight.detach().numpy() for n in nets]),
        "b1": np.concatenate([n[0].bias.detach().numpy() for n in nets]),
        "w2": last,
        "b2": np.array([n[3].bias.item() for n in nets], np.float32),
    }


def main() -> None:
    """Read the figures, fit, write the weights."""
    a = argparse.ArgumentParser(description=__doc__)
    a.add_argument("figures", type=Path)
    a.add_argument("out", type=Path)
    args = a.parse_args()
    with np.load(args.figures) as held:
        weights = fit_members(held["figures"], held["label"])
    np.savez(args.out, **weights)  # type: ignore[arg-type]


if __name__ == "__main__":
    main()

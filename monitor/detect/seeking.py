"""The level a current has settled on, looked for in rows of which nothing is known yet."""

from __future__ import annotations

import numpy as np

from monitor.base.samples import Floats
from monitor.detect.held import ESTABLISH_S
from monitor.detect.levels import first_lasting, follow_back, near_level
from monitor.detect.rows import Rows
from monitor.detect.texture import Texture, noise_of, texture_of

AGREE_S, AGREE_SHARE = 120, 0.7  # the last seconds that must agree on a level, and how many of them
ROUGH_TIMES, CALM_A = 3.0, 0.001  # so much noisier than the rows before them they are no level; our choice


def find_level(plain: Rows, drain: Floats) -> tuple[int, float, float, Texture] | None:
    """The level on which the last rows agree: its first row, level, lift over the lower quartile, and texture.

    `plain` are the rows freed of single spikes, `drain`, shape (n,) A, their own.
    """
    if len(plain) < 3:
        return None
    end_s = int(plain.second[-1])
    tail = plain[min(int(np.searchsorted(plain.second, end_s - AGREE_S)), len(plain) - 3) :]
    before, late = drain[: -len(tail)], drain[-len(tail) :]
    level = float(np.median(tail.drain))
    texture = _first_texture(late, level)
    if len(before) > len(late) and _is_rough(texture, before):
        return None  # something has woken up and pulses
    band = texture.steady_a(level)
    near = np.abs(tail.drain - level) <= band
    if np.count_nonzero(near) < AGREE_SHARE * len(tail):
        return None
    level = float(np.mean(tail.drain[near]))  # a coarse logger flickers between two values
    first = first_lasting(plain.second, near_level(plain, level, band))
    if first is None or end_s - int(plain.second[first]) < ESTABLISH_S:
        return None
    first, level = follow_back(plain, first, level, band, texture.is_noisy(band))
    lift = level - float(np.quantile(tail.drain, 0.25))
    return first, level, max(min(lift, band), 0.0), texture


def _is_rough(texture: Texture, before: Floats) -> bool:
    return texture.noise_a > ROUGH_TIMES * max(noise_of(np.abs(np.diff(before))), CALM_A, texture.quantum_a)


def _first_texture(drain: Floats, level: float) -> Texture:
    """Texture about a level not held yet: of the rows that its noise alone would put near it."""
    noise = Texture(noise_of(np.abs(np.diff(drain))))
    near = drain[np.abs(drain - level) <= 2 * noise.band_a(level)]
    return texture_of(near - level, np.inf) or noise

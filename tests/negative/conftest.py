"""Pictures made for a test, as the bytes of a file."""

import io

import numpy as np
import pytest
from PIL import Image


def encoded(picture, kind="PNG", **how):
    """A picture as the bytes of a file of this kind."""
    out = io.BytesIO()
    picture.save(out, kind, **how)
    return out.getvalue()


def patchwork(width=60, height=40, seed=5):
    """A colourful picture of random smooth patches."""
    rng = np.random.default_rng(seed)
    small = Image.fromarray(rng.integers(0, 256, (5, 7, 3), dtype=np.uint8))
    return small.resize((width, height), Image.Resampling.BICUBIC)


@pytest.fixture(scope="session")
def made():
    """`encoded`, for tests that do not import from here."""
    return encoded


@pytest.fixture(scope="session")
def colours():
    """`patchwork`, likewise."""
    return patchwork

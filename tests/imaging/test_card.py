"""The reference card drawn, photographed by a pinhole camera, and found again: round trips with known truth."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jartest.imaging import card as card_module
from jartest.imaging.card import (
    CARD_HIGH_MM,
    CARD_WIDE_MM,
    MARKER_SIDE_MM,
    MARKERS,
    PATCH_SIDE_MM,
    PATCHES,
    Card,
    draw_card,
    find_card,
)
from jartest.imaging.drawn import Band, draw_jar
from jartest.imaging.drawn_scene import Camera, DrawnScene, JarBefore, draw_scene
from jartest.imaging.photo import Photo, open_photo

CORNERS_MM = np.array([(0, 0), (CARD_WIDE_MM, 0), (CARD_WIDE_MM, CARD_HIGH_MM), (0, CARD_HIGH_MM)])
WITHIN = 0.005  # the issue's own limit: mm within half a percent


@cache
def scene(camera: Camera, **how: object) -> DrawnScene:
    return draw_scene(camera, **how)


def found(drawn: DrawnScene, quality: int = 92) -> Card:
    card = find_card(open_photo(drawn.jpeg(quality)))
    assert card is not None
    return card


def length_errors(card: Card, corners_px: np.ndarray) -> np.ndarray:
    """Relative errors of the card's four sides and two diagonals, none of them between markers alone."""
    pairs = [(0, 1), (1, 2), (2, 3), (3, 0), (0, 2), (1, 3)]
    mm = card.to_mm(corners_px)
    return np.array(
        [np.hypot(*(mm[b] - mm[a])) / np.hypot(*(CORNERS_MM[b] - CORNERS_MM[a])) - 1 for a, b in pairs]
    )


def warped(corners_px: np.ndarray, blur_px: float, light: float, noise: float, seed: int) -> Photo:
    """The card laid into a picture of 900 x 1200 px by the homography of its corners; no camera involved."""
    k = 8
    ends = (CORNERS_MM * k - 0.5).astype(np.float32)
    h = cv2.getPerspectiveTransform(ends, corners_px.astype(np.float32))
    fine = cv2.warpPerspective(
        draw_card(k),
        np.diag([3.0, 3, 1]) @ np.array([[1, 0, 1 / 3], [0, 1, 1 / 3], [0, 0, 1]]) @ h,
        (2700, 3600),
        borderValue=150,
    )
    picture = cv2.resize(fine, (900, 1200), interpolation=cv2.INTER_AREA).astype(float) * light
    picture = cv2.GaussianBlur(picture, (0, 0), blur_px)
    picture += np.random.default_rng(seed).normal(0, noise, picture.shape)
    grey = np.clip(np.rint(picture), 0, 255).astype(np.uint8)
    return open_photo(cv2.imencode(".jpg", grey, [cv2.IMWRITE_JPEG_QUALITY, 90])[1].tobytes())


# ---------------------------------------------------------------- layout
def test_nothing_on_the_card_lies_over_anything_else_or_over_its_edge() -> None:
    boxes = [(x, y, MARKER_SIDE_MM) for x, y in MARKERS.values()]
    boxes += [(x, y, PATCH_SIDE_MM) for x, y, _ in PATCHES]
    quiet = MARKER_SIDE_MM / 7  # a module of white around every marker
    for n, (x, y, side) in enumerate(boxes):
        assert x - quiet > 0
        assert x + side + quiet < CARD_WIDE_MM
        assert y - quiet > 0
        assert y + side + quiet < CARD_HIGH_MM
        for u, v, other in boxes[n + 1 :]:
            assert (
                x + side + quiet <= u
                or u + other + quiet <= x
                or y + side + quiet <= v
                or v + other + quiet <= y
            )


# ---------------------------------------------------------------- round trip
@settings(max_examples=12, deadline=None)
@given(
    shift=st.lists(st.floats(-45, 45), min_size=8, max_size=8),
    blur=st.floats(0.5, 1.6),
    light=st.floats(0.35, 0.98),
    noise=st.floats(0, 4),
    seed=st.integers(0, 99),
)
def test_millimetres_come_back_within_half_a_percent_under_any_homography_blur_and_light(
    shift: list[float], blur: float, light: float, noise: float, seed: int
) -> None:
    straight = np.array([(180, 160), (720, 160), (720, 897), (180, 897)], float)
    corners = straight + np.array(shift).reshape(4, 2)
    card = find_card(warped(corners, blur, light, noise, seed))
    assert card is not None
    assert np.abs(length_errors(card, corners)).max() < WITHIN


@pytest.mark.parametrize(
    ("camera", "how"),
    [
        (Camera(), {}),
        (Camera(across_mm=200, down_mm=60, roll_deg=4), {}),
        (Camera(down_mm=20, before_mm=400, focal_px=900), {"blur_px": 1.5}),
        (Camera(before_mm=700, focal_px=1500, roll_deg=-8), {"light": (0.9, 0.7, 0.4), "fall_off": 0.4}),
    ],
)
def test_millimetres_come_back_within_half_a_percent_from_a_camera(
    camera: Camera, how: dict[str, object]
) -> None:
    drawn = scene(camera, **how)
    card = found(drawn)
    assert len(card.markers) == 12
    assert np.abs(length_errors(card, drawn.corners_px)).max() < WITHIN


def test_what_is_said_of_the_focal_length_holds_within_three_sigmas() -> None:
    for camera in (Camera(across_mm=200, down_mm=60), Camera(across_mm=-40, down_mm=20)):
        pose = found(scene(camera)).pose
        assert abs(math.log(pose.focal_px / camera.focal_px)) < 3 * max(pose.focal_sigma, 0.002)
        assert pose.focal_sigma < 0.02  # a card seen aslant tells it


def test_a_focal_length_that_the_camera_wrote_is_used() -> None:
    drawn = scene(Camera(before_mm=700, focal_px=1500))
    photo = open_photo(drawn.jpeg())
    plain = find_card(photo)
    told = find_card(replace(photo, focal_px=1500.0))
    assert plain is not None
    assert told is not None
    assert told.pose.focal_sigma < 0.05 < plain.pose.focal_sigma


def test_a_marker_half_hidden_is_left_out_and_the_others_carry_on() -> None:
    drawn = scene(Camera())
    pixels = drawn.pixels.copy()
    x, y = drawn.corners_px[0]
    pixels[int(y) : int(y) + 60, int(x) : int(x) + 60] = 128
    card = found(replace(drawn, pixels=pixels))
    assert 30 not in card.markers
    assert np.abs(length_errors(card, drawn.corners_px)).max() < WITHIN


# ---------------------------------------------------------------- light
def test_the_grey_steps_give_the_white_balance_of_the_light() -> None:
    light = np.array([0.9, 0.7, 0.4])
    card = found(scene(Camera(before_mm=700, focal_px=1500, roll_deg=-8), light=tuple(light), fall_off=0.4))
    assert card.balance.gains == pytest.approx(tuple(light.mean() / light), rel=0.02)
    assert card.balance.light == pytest.approx(light.mean() * 0.8, rel=0.03)  # the middle of what falls off
    paper = np.rint(255 * (1.055 * light ** (1 / 2.4) - 0.055)).astype(np.uint8)  # IEC 61966-2-1
    assert np.ptp(card.balance.apply(paper).astype(int)) <= 3


def test_burnt_out_steps_say_nothing() -> None:
    balance = found(scene(Camera(), light=(30.0, 30.0, 30.0))).balance
    assert math.isnan(balance.light)
    assert all(math.isnan(g) for g in balance.gains)


# ---------------------------------------------------------------- no card
def test_no_card_is_found_where_there_is_none() -> None:
    bands = (Band(top_fraction=0.3, colour=(120, 90, 60)), Band(top_fraction=1, colour=(200, 180, 130)))
    assert find_card(open_photo(draw_jar(bands).jpeg())) is None
    noise = np.random.default_rng(3).integers(0, 255, (800, 600, 3)).astype(np.uint8)
    assert find_card(open_photo(cv2.imencode(".png", noise)[1].tobytes())) is None


def test_markers_of_other_ids_and_a_mirrored_card_are_no_card() -> None:
    drawn = scene(Camera())
    assert find_card(open_photo(replace(drawn, pixels=drawn.pixels[:, ::-1]).jpeg())) is None
    board = np.full((900, 700), 255, np.uint8)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_50)
    for i in range(6):
        part = cv2.aruco.generateImageMarker(dictionary, i, 140)
        board[60 + 280 * (i // 2) : 200 + 280 * (i // 2), 80 + 320 * (i % 2) : 220 + 320 * (i % 2)] = part
    assert find_card(open_photo(cv2.imencode(".png", board)[1].tobytes())) is None


def test_two_markers_are_too_few() -> None:
    drawn = scene(Camera())
    pixels = drawn.pixels.copy()
    pixels[330:] = 128  # the upper two of each column are left, then one of those goes
    pixels[:, 500:] = 128
    assert find_card(open_photo(replace(drawn, pixels=pixels).jpeg())) is None


def test_without_a_marker_nothing_is_searched_at_larger_sizes(monkeypatch: pytest.MonkeyPatch) -> None:
    sizes = []
    real = card_module._markers

    def spy(grey: np.ndarray, *, thorough: bool) -> dict[int, np.ndarray]:
        sizes.append(grey.shape)
        return real(grey, thorough=thorough)

    monkeypatch.setattr(card_module, "_markers", spy)
    plain = np.full((4000, 3000, 3), 140, np.uint8)
    find_card(open_photo(cv2.imencode(".jpg", plain)[1].tobytes()))
    assert sizes == [(1334, 1000)]


# ---------------------------------------------------------------- jar in front
def test_the_window_holds_the_jar_that_stands_before_the_card() -> None:
    drawn = draw_scene(Camera(), JarBefore())
    window = found(drawn).window
    assert drawn.frame is not None
    assert window.left < drawn.frame.left_px < drawn.frame.right_px < window.right
    assert window.top < drawn.frame.surface_px < drawn.frame.floor_px < window.bottom

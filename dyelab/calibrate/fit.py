"""From patches seen and patches known to a calibration: the colours, then their errors."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from dyelab import convert
from dyelab.calibrate.camera_calibration import Calibration, Errors, weigh_near
from dyelab.calibrate.colour_fit import (
    PLAIN,
    TOP,
    KnownColours,
    eye_scale,
    known_colours,
    leave_one_out,
    normal_equations,
    terms,
    to_lab,
)
from dyelab.calibrate.priors import Response, Training, learn, training
from dyelab.calibrate.program import Program
from dyelab.calibrate.reference import Reference
from dyelab.errors import InputError, choose
from dyelab.table import LAB, White

PATCH = 1 / 30  # share of a real patch beside all cloths trained on; photo_worlds.py
_RIDGE = 1e-6  # of the equations' mean diagonal: against singular ones, too little to be felt
# What half and double of what follows would do: photo_constants.py with its names.
# Errors are simulated for every twelfth of the cloths trained on, and what is expected of them for
# every third: more say no more.
NODES, SHIFTS = 12, 3
WORST_FIT, WORST_PATCH = 5.0, 25.0  # ΔE00, median and single, that mean: this isn't that target
# More trust in the better of two fits does no better on cloths that judge, and by 8 the colours of
# one photo jumped by 3.5 with the target's edition. Of the expected error, three quarters taken off
# are better for natural dyes (0.45 for 0.47 in the median), worse for measured surfaces (1.11 for
# 1.06) on the world that judges nothing.
TRUST = 2.0  # power of its misses by which a fit counts less
CORRECTED = 0.5  # share of a fit's expected error that is taken off
# Real errors over simulated ones, of greys and more by each unit of chroma: cloths of other laws,
# heavy tails, and few cloths to learn from near strong colours. The least at which, on the world
# that judges nothing and over all programs, 95 in 100 colours of three kinds of cloth together lie
# in their regions and no kind's fewer than 93 (photo_constants.py, with what each band of chroma
# would ask): it is measured surfaces that need it, natural dyes would do with half.
WIDER = np.array([0.76, 0.0086])
METHODS = ("auto", "plain", "learned")


def check_method(method: str) -> None:
    """Refuse a way of fitting that there isn't.

    Examples
    --------
    >>> from dyelab import calibrate
    >>> calibrate.check_method("auto")
    """
    choose(method, METHODS, "method", "of calibrating")


@dataclass(frozen=True)
class ColourFit:
    """A matrix of root-polynomial terms, what it was told of each patch by the others, and how."""

    matrix: np.ndarray  # (3, 13)
    out: np.ndarray  # (n, 3) XYZ of the patches by fits without each
    learned: float  # share of fits trained on cloths


def fit_colour(
    stored: np.ndarray,
    light: np.ndarray,
    program: Program,
    reference: Reference,
    *,
    method: str = "auto",
    sure: np.ndarray | float = 1.0,
    seed: int = 0,
) -> Calibration:
    """Fit the colour and work out its errors.

    Parameters
    ----------
    stored : ndarray (n, 3)
        Values of the patches, linear by the file's own curve.
    light : ndarray (n, 3)
        Relative light there, by channel.
    program : Program
        What the camera's program did.
    reference : Reference
        Of the patches.
    method : str
        ``auto``, ``plain`` or ``learned``.
    sure : float or ndarray (n,)
        How much each patch counts, at most 1.
    seed : int
        Of the simulation.

    Raises
    ------
    InputError
        If the patches don't fit the reference.
    """
    rgb = program.best.undo(stored, light)
    of = known_colours(reference.lab, sure, reference.white)
    response = learn(rgb, reference.spectra, reference.noise * max(1.0, program.misfit) / sure**0.5)
    fitted = _fit(rgb, of, response, method)
    out = convert.dE00(of.lab, to_lab(fitted.out, of.white))
    _check_fit(out, reference)
    program = _with_reference(program, rgb, reference.unsure)
    errors = simulate_errors(
        fitted.matrix, program, response, of.white, np.random.default_rng(seed)
    )
    left = convert.dE00(of.lab, to_lab(terms(rgb, TOP) @ fitted.matrix.T, of.white))
    patches = pd.DataFrame(reference.lab, columns=LAB)
    patches.insert(0, "patch", reference.names)
    made = Calibration(
        "learned" if fitted.learned > 0.5 else "plain", program.best, TOP, fitted.matrix, errors,
        patches.assign(dE00=left, dE00_left_out=out), witnesses=stored / light,
        white=of.white,
    )  # fmt: skip
    return replace(made, strain=_strain(made, rgb, response, reference))


def _fit(rgb: np.ndarray, of: KnownColours, response: Response, method: str) -> ColourFit:
    """Mean of a plain fit and one trained on cloths, by how little each misses unseen patches."""
    made = []
    if method != "learned":
        made.append((*_plain(rgb, of), 0.0))
    if method != "plain":
        made.append((*_learn(rgb, of, response), 1.0))
    missed = [np.mean(convert.dE00(of.lab, to_lab(out, of.white)) ** 2) for _, out, _ in made]
    share = np.array(missed) ** -TRUST
    share /= share.sum()
    matrix, out, learned = (
        np.tensordot(share, np.array([one[i] for one in made]), axes=1) for i in range(3)
    )
    return ColourFit(matrix, out, float(learned))


def _plain(rgb: np.ndarray, of: KnownColours) -> tuple[np.ndarray, np.ndarray]:
    phi = terms(rgb, PLAIN)
    fitted = normal_equations(phi, of).solve(_RIDGE)
    short = terms(rgb[:1], TOP).size - phi.shape[1]
    return np.pad(fitted[0], ((0, 0), (0, short))), leave_one_out(phi, of, fitted)


def _learn(rgb: np.ndarray, of: KnownColours, response: Response) -> tuple[np.ndarray, np.ndarray]:
    cloths, phi = training(of.white), terms(rgb, TOP)
    seen = terms(cloths.spectra @ response.mean, TOP)
    fitted = (
        normal_equations(seen, cloths.of, cloths.share) + normal_equations(phi, of, PATCH)
    ).solve(_RIDGE)
    return fitted[0], leave_one_out(phi, of, fitted, PATCH)


def _with_reference(program: Program, rgb: np.ndarray, unsure: float) -> Program:
    """Add to the draws that the patches aren't just what the reference says."""
    rng = np.random.default_rng(1)
    off = unsure * rng.standard_normal((*program.moved.shape[:2], 1)) * rgb
    return replace(program, moved=program.moved + off)


def _check_fit(out: np.ndarray, reference: Reference) -> None:
    worst = int(out.argmax())
    if np.median(out) > WORST_FIT:
        raise InputError(
            f"the target's colours don't agree with the reference values ({reference.source}): "
            f"half of its patches are over {np.median(out):.0f} ΔE00 off. Are these the values of "
            "this target? Is it in even, white light?"
        )
    if out[worst] > WORST_PATCH:
        raise InputError(
            f"patch {reference.names[worst]!r} of the target is {out[worst]:.0f} ΔE00 off, the "
            f"others {np.median(out):.1f}: is it covered, shaded or dirty? Uncover it, or give the "
            "values of this target."
        )


def simulate_errors(
    matrix: np.ndarray, program: Program, response: Response, white: White, rng: np.random.Generator
) -> Errors:
    """Errors of this fit for cloths, over cameras and programs that agree with the patches."""
    many, nodes = training(white).every(SHIFTS), training(white).every(NODES)
    fitted = []
    for undoing, moved in zip(program.drawn, program.moved, strict=True):
        true = np.maximum(nodes.spectra @ response.draw(rng, moved), 1e-6)
        values = program.best.undo(undoing.redo(true))
        fitted.append(to_lab(terms(values, TOP) @ matrix.T, white))
    values = np.maximum(many.spectra @ response.mean, 1e-6)
    mean = to_lab(terms(values, TOP) @ matrix.T, white)
    return gather_errors(np.stack(fitted), nodes, mean, many)


def gather_errors(
    fitted: np.ndarray,
    nodes: Training,
    mean: np.ndarray,
    many: Training,
    wider: np.ndarray | None = None,
) -> Errors:
    """Errors of what a fit says of cloths, part of the expected error taken off.

    Parameters
    ----------
    fitted : ndarray (d, m, 3)
        What it says of `nodes` in d cameras, lights and programs.
    nodes : Training
        m cloths.
    mean : ndarray (k, 3)
        What it says of `many` in the likeliest of those.
    many : Training
        k cloths.
    wider : ndarray (2,), optional
        In place of `WIDER`.
    """
    lab, shift = fitted.mean(axis=0), CORRECTED * (mean - many.of.lab)
    off = fitted - nodes.of.lab - weigh_near(lab, mean, many.share) @ shift
    share = 1 / np.bincount(nodes.family)[nodes.family]
    return Errors(lab, off, share, mean, shift, many.share, WIDER if wider is None else wider)


def _strain(made: Calibration, rgb: np.ndarray, response: Response, of: Reference) -> float:
    """What no camera sees of the patches' lightness, root mean square, units of CIEDE2000."""
    off = rgb / np.maximum(of.spectra @ response.mean, 1e-4) - 1
    seen = np.einsum("nij,njk,nk->ni", eye_scale(of.lab), made.slope(rgb), off)
    return float(np.sqrt(np.mean(seen[:, 0] ** 2)))

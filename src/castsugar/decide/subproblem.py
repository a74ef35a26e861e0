"""The lowest point of models within reach: a small smooth problem."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import minimize

from castsugar.arrays import FloatArray
from castsugar.decide.models import Quadratics
from castsugar.decide.region import LocalRows

#: Scaled slack that a step aims at, so that rounding leaves a limit kept.
MARGIN = 2e-9

#: Violation by a model below which a step need not first restore.
_SMALL = 1e-7


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surroundings:
    """Models around a mix, in ``w``: the mix at 0, the reach of a step at 1.

    Attributes
    ----------
    value, gradient, hessian : ndarray, shapes (s, p), (s, p, d), (s, p, d, d)
        Of s pieces; the first output is the objective, the rest are slacks.
    normals, room : ndarray, shapes (r, d) and (r,)
        ``normals w <= room``: rows of the region and the reach.
    """

    value: FloatArray
    gradient: FloatArray
    hessian: FloatArray
    normals: FloatArray
    room: FloatArray

    @classmethod
    def of(
        cls,
        pieces: list[Quadratics],
        rows: LocalRows,
        z: FloatArray,
        radius: float,
    ) -> Surroundings:
        """Return the models as seen from z."""
        seen = [piece.around(z, radius) for piece in pieces]
        normals = rows.normals
        room = np.maximum(rows.limits - normals @ z, 0.0) / radius
        near = room < np.abs(normals).sum(axis=1)
        box = np.vstack([np.eye(len(z)), -np.eye(len(z))])
        return cls(
            value=np.stack([s[0] for s in seen]),
            gradient=np.stack([s[1] for s in seen]),
            hessian=np.stack([s[2] for s in seen]),
            normals=np.vstack([normals[near], box]),
            room=np.concatenate([room[near], np.ones(2 * len(z))]),
        )

    def first(self) -> Surroundings:
        """Return the same with the first piece alone."""
        return replace(
            self,
            value=self.value[:1],
            gradient=self.gradient[:1],
            hessian=self.hessian[:1],
        )

    def standing(self, w: FloatArray) -> tuple[float, float]:
        """Return objective and violation by the worst of the pieces."""
        out = self.value + (self.gradient + 0.5 * self.hessian @ w) @ w
        return float(out[:, 0].max()), float((-out[:, 1:]).max(initial=0.0))


def best_step(near: Surroundings) -> FloatArray:
    """Return the step w that the models call best.

    The least violation within reach comes first, then the objective. Where several
    pieces describe an output the worst of them counts, so that a ridge where two
    branches meet can be followed.
    """
    start = np.zeros(near.gradient.shape[-1])
    allowed = 0.0
    if near.standing(start)[1] > _SMALL:
        start, level = _lowest(near, start, slice(1, None), -1.0, None)
        allowed = max(level + MARGIN, 0.0) * (1.0 + 1e-9)
    return _lowest(near, start, slice(0, 1), 1.0, allowed)[0]


def _lowest(
    near: Surroundings,
    start: FloatArray,
    tops: slice,
    sign: float,
    allowed: float | None,
) -> tuple[FloatArray, float]:
    """Minimise the largest of some outputs, with slacks kept up to `allowed`."""
    d = len(start)
    value = [sign * near.value[:, tops].ravel()]
    gradient = [sign * near.gradient[:, tops].reshape(-1, d)]
    hessian = [sign * near.hessian[:, tops].reshape(-1, d, d)]
    size = _size(gradient[0], hessian[0]).max()
    scale = [np.full(len(value[0]), size)]
    if allowed is not None:
        value.append(MARGIN - allowed - near.value[:, 1:].ravel())
        gradient.append(-near.gradient[:, 1:].reshape(-1, d))
        hessian.append(-near.hessian[:, 1:].reshape(-1, d, d))
        scale.append(_size(gradient[1], hessian[1]))
    epigraph = np.zeros(sum(len(v) for v in value))
    epigraph[: len(value[0])] = 1.0
    v, s = np.concatenate(value), np.concatenate(scale)
    base = value[0].max()
    v[: len(value[0])] -= base
    program = _Program(
        value=v / s,
        gradient=np.vstack(gradient) / s[:, None],
        hessian=np.concatenate(hessian) / s[:, None, None],
        epigraph=epigraph,
        normals=near.normals,
        room=near.room,
    )
    w, top = program.solve(start)
    return w, float(base + top * size)


def _size(gradient: FloatArray, hessian: FloatArray) -> FloatArray:
    """Return how much each output can change within reach."""
    size = np.abs(gradient).sum(axis=1) + 0.5 * np.abs(hessian).sum(axis=(1, 2))
    return np.maximum(size, 1e-14)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Program:
    """Minimise t with every quadratic at most ``epigraph t``, and linear rows."""

    value: FloatArray
    gradient: FloatArray
    hessian: FloatArray
    epigraph: FloatArray
    normals: FloatArray
    room: FloatArray

    def solve(self, start: FloatArray) -> tuple[FloatArray, float]:
        """Return the step and t."""
        tops = self.epigraph > 0.0
        first = float(self._quadratics(start)[tops].max())
        found = minimize(
            lambda x: x[-1],
            np.append(start, first),
            jac=lambda x: np.append(np.zeros(len(x) - 1), 1.0),
            method="SLSQP",
            constraints={"type": "ineq", "fun": self._left, "jac": self._slopes},
            options={"ftol": 1e-13, "maxiter": 60},
        )
        x = found.x if np.isfinite(found.x).all() else np.append(start, first)
        w = np.clip(x[:-1], -1.0, 1.0)
        return w, float(self._quadratics(w)[tops].max())

    def _quadratics(self, w: FloatArray) -> FloatArray:
        return self.value + (self.gradient + 0.5 * self.hessian @ w) @ w

    def _left(self, x: FloatArray) -> FloatArray:
        w = x[:-1]
        kept = self.epigraph * x[-1] - self._quadratics(w)
        return np.concatenate([kept, self.room - self.normals @ w])

    def _slopes(self, x: FloatArray) -> FloatArray:
        curved = -(self.gradient + self.hessian @ x[:-1])
        upper = np.hstack([curved, self.epigraph[:, None]])
        return np.vstack(
            [upper, np.hstack([-self.normals, np.zeros((len(self.room), 1))])]
        )

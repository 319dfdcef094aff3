"""Vectors, lines and circles in a plane; see `curvometer.geometry` for the conventions."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


class Circle(NamedTuple):
    """A circle: centre of shape (..., 2) and radius of shape (...)."""

    centre: FloatArray
    radius: FloatArray


def cross(u: FloatArray, v: FloatArray) -> FloatArray:
    """Cross product of plane vectors; positive when `u` turns into `v` as the first axis into the second."""
    out: FloatArray = u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0]
    return out


def dot(u: FloatArray, v: FloatArray) -> FloatArray:
    """Scalar product of plane vectors."""
    out: FloatArray = u[..., 0] * v[..., 0] + u[..., 1] * v[..., 1]
    return out


def distance(p: FloatArray, q: FloatArray) -> FloatArray:
    """Distance between points of shape (..., 2)."""
    delta = q - p
    out: FloatArray = np.hypot(delta[..., 0], delta[..., 1])
    return out


def angle_between_deg(u: FloatArray, v: FloatArray) -> FloatArray:
    """Angle between two directed vectors, 0 to 180 degrees.

    By the arctangent of cross and scalar product, which keeps its accuracy where the arccosine loses it:
    near 0 and near 180 degrees.
    """
    out: FloatArray = np.degrees(np.arctan2(np.abs(cross(u, v)), dot(u, v)))
    return out


def signed_angle_deg(u: FloatArray, v: FloatArray) -> FloatArray:
    """Angle that turns `u` into `v`, -180 to 180 degrees, positive from the first axis towards the second."""
    out: FloatArray = np.degrees(np.arctan2(cross(u, v), dot(u, v)))
    return out


def line_direction(points: FloatArray, *, weights: FloatArray | None = None) -> FloatArray:
    """Direction of the line that fits points best by total least squares.

    The sum of squared *perpendicular* distances is least, so no axis is preferred and the direction
    turns with the points.

    Parameters
    ----------
    points
        Shape (..., n, 2), n at least 2.
    weights
        Shape (..., n), not negative; all 1 when absent.

    Returns
    -------
    FloatArray
        Unit vectors of shape (..., 2), pointing from the first point towards the last.
    """
    mass = np.ones(points.shape[:-1]) if weights is None else weights
    total = np.sum(mass, axis=-1, keepdims=True)
    centre = np.sum(points * mass[..., None], axis=-2, keepdims=True) / total[..., None]
    x, y = np.moveaxis(points - centre, -1, 0)
    # The major axis of the scatter matrix [[sxx, sxy], [sxy, syy]] lies at half the angle of (sxx - syy,
    # 2 sxy).
    angle = 0.5 * np.arctan2(2.0 * np.sum(mass * x * y, axis=-1), np.sum(mass * (x * x - y * y), axis=-1))
    direction = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    forward = dot(direction, points[..., -1, :] - points[..., 0, :]) < 0.0
    out: FloatArray = np.where(forward[..., None], -direction, direction)
    return out


def intersect_lines(p: FloatArray, u: FloatArray, q: FloatArray, v: FloatArray) -> FloatArray:
    """Point where the line through `p` along `u` meets the line through `q` along `v`.

    Parallel lines meet at infinity: the coordinates are then infinite or not numbers.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        step = cross(q - p, v) / cross(u, v)
        out: FloatArray = p + step[..., None] * u
    return out


def distance_to_line(points: FloatArray, origin: FloatArray, direction: FloatArray) -> FloatArray:
    """Signed distance of points from the line through `origin` along `direction`.

    Shapes (..., 2) that broadcast; positive on the side that the first axis turns to on its way to the
    second.
    """
    out: FloatArray = cross(direction, points - origin) / np.hypot(direction[..., 0], direction[..., 1])
    return out


def circumcurvature(p: FloatArray, q: FloatArray, r: FloatArray) -> FloatArray:
    """Signed curvature of the circle through three points in order (Menger curvature).

    Four times the triangle's area over the product of its sides, that is 1 / circumradius; 0 when they are
    in line.
    """
    out: FloatArray = 2.0 * cross(q - p, r - q) / (distance(p, q) * distance(q, r) * distance(p, r))
    return out


def circle_through(p: FloatArray, q: FloatArray, r: FloatArray) -> Circle:
    """Return the circle through three points; radius infinite and centre not finite when they are in line."""
    with np.errstate(divide="ignore", invalid="ignore"):
        a, b = q - p, r - p
        # The centre c satisfies c.a = |a|^2 / 2 and c.b = |b|^2 / 2 with p as origin.
        twice = 2.0 * cross(a, b)
        x = (b[..., 1] * dot(a, a) - a[..., 1] * dot(b, b)) / twice
        y = (a[..., 0] * dot(b, b) - b[..., 0] * dot(a, a)) / twice
        offset: FloatArray = np.stack([x, y], axis=-1)
        radius: FloatArray = 1.0 / np.abs(circumcurvature(p, q, r))
    return Circle(p + offset, radius)


def fit_circle(points: FloatArray, *, weights: FloatArray | None = None) -> Circle:
    """Return the circle whose squared distances from the points have the least sum (geometric fit).

    Gauss-Newton on curvature, direction and offset of the circle, which stay finite when the points
    become straight; the start is the algebraic fit. One point set at a time.

    Parameters
    ----------
    points
        Shape (n, 2), at least three.
    weights
        Shape (n,), for example 1 / variance; all 1 when absent.

    Returns
    -------
    Circle
        Radius infinite and centre not finite for points in line.

    Raises
    ------
    ValueError
        With fewer than three points.

    References
    ----------
    Karimäki 1991 (`curvometer.bibliography.KARIMAKI_1991`) for the parameters.
    """
    if len(points) < 3:
        raise ValueError(f"a circle needs at least three points, found {len(points)}")
    root = np.ones(len(points)) if weights is None else np.sqrt(weights)
    middle = np.mean(points, axis=0)
    size = float(np.sqrt(np.mean(np.square(points - middle)))) or 1.0
    x = (points - middle) / size
    parameters = _algebraic_circle(x, root)
    for _ in range(50):
        residual, jacobian = _circle_residuals(x, parameters)
        step = np.linalg.lstsq(jacobian * root[:, None], -residual * root, rcond=None)[0]
        parameters = parameters + step
        if np.max(np.abs(step)) < 1e-13:
            break
    curvature, angle, offset = parameters
    if abs(curvature) < 1e-12:
        return Circle(np.full(2, np.nan), np.float64(np.inf))  # type: ignore[arg-type]
    normal = np.array([-np.sin(angle), np.cos(angle)])
    centre = middle + size * (offset + 1.0 / curvature) * normal
    return Circle(centre, size / np.abs(curvature))


def _algebraic_circle(x: FloatArray, root: FloatArray) -> FloatArray:
    """Curvature, tangent angle and offset at the origin of the circle that fits algebraically."""
    design = np.column_stack([x, np.ones(len(x))]) * root[:, None]
    solution, _, rank, _ = np.linalg.lstsq(design, np.sum(x * x, axis=1) * root, rcond=1e-12)
    if rank < 3:
        direction = line_direction(x)
        return np.array([0.0, np.arctan2(direction[1], direction[0]), 0.0])
    centre = solution[:2] / 2.0
    reach = float(np.hypot(*centre))
    radius = float(np.sqrt(max(solution[2] + reach**2, 0.0))) or 1.0
    # The unit normal at the point of the circle nearest to the origin looks at the centre.
    angle = np.arctan2(-centre[0], centre[1]) if reach > 0.0 else 0.0
    return np.array([1.0 / radius, angle, reach - radius])


def _circle_residuals(x: FloatArray, parameters: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Signed distances of points to a circle, exact also when it is a line, and their derivatives."""
    curvature, angle, offset = parameters
    tangent = np.array([np.cos(angle), np.sin(angle)])
    normal = np.array([-np.sin(angle), np.cos(angle)])
    w = x - offset * normal
    along, across = w @ tangent, w @ normal
    square = np.sum(w * w, axis=1)
    xi = across - 0.5 * curvature * square
    q = np.sqrt(np.maximum(1.0 - 2.0 * curvature * xi, 1e-12))
    residual = 2.0 * xi / (1.0 + q)
    by_curvature = 0.5 * (residual**2 - square) / q
    by_angle = -(1.0 + curvature * offset) * along / q
    by_offset = (curvature * across - 1.0) / q
    return residual, np.column_stack([by_curvature, by_angle, by_offset])

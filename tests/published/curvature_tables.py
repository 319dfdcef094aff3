"""Canals of known shape with every measure in closed form, and the same numbers printed to six decimals.

All of it is derived here and depends on no publication. Frame: u along the coronal axis towards the foramen,
v across it towards the bend, the canal orifice A at (0, 0), start of the curve B at (a, 0), apical foramen C
= P. Millimetres and degrees.

A, B tables: straight a, arc (R, theta), straight b. With the tangent length T = R tan(theta / 2):

    L = a + R theta + b
    u_P = a + R sin(theta) + b cos(theta),  v_P = R (1 - cos(theta)) + b sin(theta)
    S = atan2((T + b) sin(theta), T + (T + b) cos(theta));  b = 0 gives S = theta / 2
    Weine = Pruett angle = theta, Pruett radius = R
    CAA = atan2(v_P, u_P), x_B = a sin(CAA), y_A = a cos(CAA), y_C = |AC| - y_A
    x_max = a sin(CAA) + R (1 - cos(CAA))
    BC^2 = T^2 + (T + b)^2 + 2 T (T + b) cos(theta)
    Schaefer radius r = BC / (2 sin S), its length 2 r S;  Backman quotient S / R
    apical chord over w mm inside a pure arc: theta - (180 / pi) w / (2 R)
    Estrela: r = circumradius of two 6-mm chords from P, apothem h = sqrt(r^2 - 9)

S table: straight a, arc (R1, theta1), straight m, opposite arc (R2, theta2), straight b.

Other curves behind a straight a: parabola v = k u^2 / 2 for u up to U (tan S = k U / 2, tan W = k U);
logarithmic spiral of curvature exp(mu psi) / rho0 up to psi = theta; clothoid of curvature c s over the
length l.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.special import fresnel

Array = NDArray[np.float64]
AXIS = np.array([1.0, 0.0])
ORIFICE = np.zeros(2)


def direction(angle_deg: float) -> Array:
    """Unit vector at an angle from the coronal axis towards the bend."""
    return np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))])


def lay(pieces: list[tuple[float, float]], step_mm: float) -> tuple[Array, list[Array]]:
    """Points on straight pieces and arcs (length, signed turning in degrees), and the joints between them.

    An arc of radius r that begins at p with direction psi is p + r [sin(psi + t) - sin(psi), cos(psi) -
    cos(psi + t)].
    """
    place, heading, points, joints = np.zeros(2), 0.0, [np.zeros((1, 2))], [np.zeros(2)]
    for length, turning_deg in pieces:
        if length == 0.0:
            joints.append(place)
            continue
        share = np.linspace(0.0, 1.0, max(int(np.ceil(length / step_mm)), 1) + 1)[1:]
        turn = np.radians(turning_deg)
        if turn == 0.0:
            new = place + (length * share)[:, None] * [np.cos(heading), np.sin(heading)]
        else:
            t, radius = heading + turn * share, length / turn
            new = place + radius * np.column_stack([np.sin(t) - np.sin(heading), np.cos(heading) - np.cos(t)])
        points.append(new)
        place, heading = new[-1], heading + turn
        joints.append(place)
    return np.concatenate(points), joints


@dataclass(frozen=True, kw_only=True)
class ArcCase:
    """One row of tables A and B."""

    number: int
    a: float
    R: float
    theta: float
    b: float
    printed: dict[str, float | None]

    @property
    def start(self) -> Array:
        return np.array([self.a, 0.0])

    @property
    def foramen(self) -> Array:
        return self.leaves_apical + self.b * direction(self.theta)

    @property
    def leaves_apical(self) -> Array:
        t = np.radians(self.theta)
        return np.array([self.a + self.R * np.sin(t), self.R * (1.0 - np.cos(t))])

    @property
    def apical(self) -> Array:
        return direction(self.theta)

    def points(self, step_mm: float = 1e-3) -> Array:
        return lay([(self.a, 0.0), (self.R * np.radians(self.theta), self.theta), (self.b, 0.0)], step_mm)[0]

    def closed(self) -> dict[str, float]:
        """Every closed form of the module's docstring."""
        a, R, b, t = self.a, self.R, self.b, np.radians(self.theta)
        T = R * np.tan(t / 2.0)
        u, v = self.foramen
        S = np.arctan2((T + b) * np.sin(t), T + (T + b) * np.cos(t))
        caa, ac = np.arctan2(v, u), np.hypot(u, v)
        bc = np.sqrt(T**2 + (T + b) ** 2 + 2.0 * T * (T + b) * np.cos(t))
        r = bc / (2.0 * np.sin(S))
        return {
            "L": a + R * t + b,
            "u_P": u,
            "v_P": v,
            "S": np.degrees(S),
            "W": self.theta,
            "CAA": np.degrees(caa),
            "x_B": a * np.sin(caa),
            "y_A": a * np.cos(caa),
            "y_C": ac - a * np.cos(caa),
            "x_max": a * np.sin(caa) + R * (1.0 - np.cos(caa)),
            "AC": ac,
            "BC": bc,
            "arc": R * t,
            "r_tc": r,
            "len_tc": 2.0 * r * S,
            "RQ": np.degrees(S) / R,
            "kappa": 1.0 / R,
            "T": T,
        }


@dataclass(frozen=True, kw_only=True)
class SCase:
    """One row of the table of S-shaped canals."""

    name: str
    a: float
    R1: float
    theta1: float
    m: float
    R2: float
    theta2: float
    b: float
    printed: dict[str, float]

    @property
    def pieces(self) -> list[tuple[float, float]]:
        first, second = self.R1 * np.radians(self.theta1), self.R2 * np.radians(self.theta2)
        return [(self.a, 0.0), (first, self.theta1), (self.m, 0.0), (second, -self.theta2), (self.b, 0.0)]

    def points(self, step_mm: float = 1e-3) -> Array:
        return lay(self.pieces, step_mm)[0]

    @property
    def joints(self) -> list[Array]:
        """A, B, end of arc 1, start of arc 2, end of arc 2, P."""
        return lay(self.pieces, 1.0)[1]

    @property
    def middle(self) -> Array:
        """Middle of the straight piece between the arcs: the inflection."""
        return 0.5 * (self.joints[2] + self.joints[3])

    def closed_foramen(self) -> Array:
        """u_P, v_P written out: a second way to them besides laying the pieces."""
        t1, t2 = np.radians(self.theta1), np.radians(self.theta2)
        d = t1 - t2
        u = self.a + self.R1 * np.sin(t1) + self.m * np.cos(t1) + self.R2 * (np.sin(t1) - np.sin(d))
        v = self.R1 * (1.0 - np.cos(t1)) + self.m * np.sin(t1) + self.R2 * (np.cos(d) - np.cos(t1))
        return np.array([u + self.b * np.cos(d), v + self.b * np.sin(d)])


@dataclass(frozen=True, kw_only=True)
class CurveCase:
    """One row of the table of curves that are not circular."""

    kind: str
    a: float
    parameters: tuple[float, ...]
    printed: dict[str, float]
    axis: Array = field(default_factory=lambda: AXIS)

    @property
    def start(self) -> Array:
        return np.array([self.a, 0.0])

    @property
    def foramen(self) -> Array:
        return self.start + self._curve(1.0)[1][-1]

    @property
    def apical(self) -> Array:
        return direction(self.printed["W"])

    def points(self, step_mm: float = 1e-3) -> Array:
        count = max(int(self.a / step_mm), 2)
        straight = np.column_stack([np.linspace(0.0, self.a, count), np.zeros(count)])
        return np.concatenate([straight, self.start + self._curve(step_mm)[1][1:]])

    def _curve(self, step_mm: float) -> tuple[float, Array]:
        """Length and points of the curved part, equally spaced along it."""
        return {"parab": _parabola, "logsp": _spiral, "clothoid": _clothoid}[self.kind](
            *self.parameters, step_mm
        )


def _stations(length: float, step_mm: float) -> Array:
    return np.linspace(0.0, length, max(round(length / step_mm), 2) + 1)


def _parabola(k: float, U: float, step_mm: float) -> tuple[float, Array]:
    """s(u) = [q sqrt(1 + q^2) + asinh(q)] / (2 k) with q = k u, solved for u by Newton."""

    def length(u: Array) -> Array:
        q = k * u
        return (q * np.sqrt(1.0 + q * q) + np.arcsinh(q)) / (2.0 * k)

    total = float(length(np.array(U)))
    s = _stations(total, step_mm)
    u = s * U / total
    for _ in range(12):
        u = u - (length(u) - s) / np.sqrt(1.0 + (k * u) ** 2)
    return total, np.column_stack([u, 0.5 * k * u * u])


def _spiral(rho0: float, mu: float, theta: float, step_mm: float) -> tuple[float, Array]:
    """Radius rho0 exp(-mu psi): s = rho0 (1 - exp(-mu psi)) / mu, so psi = -log(1 - mu s / rho0) / mu."""
    t = np.radians(theta)
    total = rho0 * (1.0 - np.exp(-mu * t)) / mu
    psi = -np.log1p(-mu * _stations(total, step_mm) / rho0) / mu
    e, scale = np.exp(-mu * psi), rho0 / (1.0 + mu * mu)
    u = scale * (mu + e * (np.sin(psi) - mu * np.cos(psi)))
    v = scale * (1.0 - e * (np.cos(psi) + mu * np.sin(psi)))
    return total, np.column_stack([u, v])


def _clothoid(c: float, length: float, step_mm: float) -> tuple[float, Array]:
    """Direction c s^2 / 2, so u + i v is the Fresnel integral scaled by sqrt(pi / c)."""
    s = _stations(length, step_mm)
    sine, cosine = fresnel(s * np.sqrt(c / np.pi))
    return length, np.sqrt(np.pi / c) * np.column_stack([cosine, sine])


A_COLUMNS = ("L", "u_P", "v_P", "S", "W", "CAA", "x_B", "y_A", "y_C", "x_max")
B_COLUMNS = (
    "AC",
    "BC",
    "arc",
    "r_tc",
    "len_tc",
    "RQ",
    "luiten_1",
    "la_3",
    "estrela_r",
    "estrela_h",
    "kappa",
    "kmax_0.5",
    "kmax_1",
    "kmax_2",
)
S_COLUMNS = ("L", "u_P", "v_P", "S1_end", "S2_start", "S1_mid", "S2_mid", "S_global", "net", "total", "CAA")
CURVE_COLUMNS = (
    "L",
    "S",
    "W",
    "S/W",
    "CAA",
    "x_B",
    "y_A",
    "kappa_max",
    "R_min",
    "kappa_apex",
    "T1",
    "T2",
    "R_pruett",
    "r_tc",
)

# fmt: off
TABLE_A = (
    (1, 10.0, 10.0, 30.0, 0.0, 15.235988, 15.0, 1.339746, 15.0, 30.0, 5.103909, 0.889623, 9.96035,
      5.099362, 0.929273),
    (2, 8.0, 8.0, 45.0, 0.0, 14.283185, 13.656854, 2.343146, 22.5, 45.0, 9.73561, 1.352816, 7.884788,
      5.971618, 1.468027),
    (3, 12.0, 4.0, 30.0, 0.0, 14.094395, 14.0, 0.535898, 15.0, 30.0, 2.192124, 0.459005, 11.991218,
      2.019035, 0.461933),
    (4, 9.0, 12.0, 20.0, 0.0, 13.18879, 13.104242, 0.723689, 10.0, 20.0, 3.160978, 0.496273, 8.986307,
      4.137903, 0.514531),
    (5, 11.0, 5.0, 60.0, 0.0, 16.235988, 15.330127, 2.5, 30.0, 60.0, 9.262125, 1.770466, 10.856586,
      4.676051, 1.835654),
    (6, 7.0, 20.0, 25.0, 0.0, 15.726646, 15.452365, 1.873844, 12.5, 25.0, 6.914261, 0.842688, 6.949092,
      8.616475, 0.988139),
    (7, 10.0, 2.0, 45.0, 0.0, 11.570796, 11.414214, 0.585786, 22.5, 45.0, 2.937887, 0.512533, 9.986857,
      1.442378, 0.515162),
    (8, 6.0, 7.5, 70.0, 0.0, 15.162979, 13.047695, 4.934849, 35.0, 70.0, 20.717428, 2.122556, 5.612019,
      8.337715, 2.607533),
    (9, 12.0, 15.0, 10.0, 0.0, 14.617994, 14.604723, 0.227884, 5.0, 10.0, 0.893938, 0.187218, 11.998539,
      2.607961, 0.189044),
    (10, 10.0, 5.0, 60.0, 3.0, 18.235988, 15.830127, 5.098076, 41.167636, 60.0, 17.851101, 3.065444,
      9.518564, 7.11223, 3.306162),
    (11, 8.0, 10.0, 40.0, 2.0, 16.981317, 15.959965, 3.625131, 24.48549, 40.0, 12.796981, 1.771977,
      7.801288, 8.565204, 2.020367),
    (12, 12.0, 6.0, 35.0, 1.0, 16.665191, 16.260611, 1.658664, 21.271062, 35.0, 5.824313, 1.217742,
      11.938053, 4.406935, 1.248715),
    (13, 9.0, 4.0, 90.0, 2.0, 17.283185, 13.0, 6.0, 56.309932, 90.0, 24.775141, 3.771524, 8.171634,
      6.146187, 4.139686),
    (14, 11.0, 2.0, 60.0, 4.0, 17.094395, 14.732051, 4.464102, 50.103909, 60.0, 16.857842, 3.189979,
      10.527299, 4.866255, 3.275925),
    (15, 0.0, 14.0, 60.0, 0.0, 14.660766, 12.124356, 7.0, 30.0, 60.0, 30.0, 0.0, 0.0, 14.0, 1.875644),
    (16, 8.0, 5.1162, 56.0, 0.0, 13.000494, 12.241522, 2.255257, 28.0, 56.0, 10.438562, 1.449449,
      7.867598, 4.579934, 1.534123),
)
TABLE_B = (
    (1, 15.059712, 5.176381, 5.235988, 10.0, 5.235988, 1.5, 27.135211, 21.405633, 26.700618, 26.531547,
      0.1, 0.1, 0.1, 0.1),
    (2, 13.856406, 6.122935, 6.283185, 8.0, 6.283185, 2.8125, 41.419014, 34.257041, 15.070079, 14.768456,
      0.125, 0.125, 0.125, 0.125),
    (3, 14.010253, 2.070552, 2.094395, 4.0, 2.094395, 3.75, 22.838027, 10.449974, 67.10976, 67.042672,
      0.25, 0.25, 0.25, 0.136808),
    (4, 13.12421, 4.167556, 4.18879, 12.0, 4.18879, 0.833333, 17.612676, 12.838028, 49.654281, 49.563571,
      0.083333, 0.083333, 0.083333, 0.083333),
    (5, 15.532636, 5.0, 5.235988, 5.0, 5.235988, 6.0, 54.270422, 42.811266, 14.068805, 13.745227, 0.2,
      0.2, 0.2, 0.2),
    (6, 15.565567, 8.657585, 8.726646, 20.0, 8.726646, 0.625, 23.567606, 20.702817, 23.561803, 23.370035,
      0.05, 0.05, 0.05, 0.05),
    (7, 11.429235, 1.530734, 1.570796, 2.0, 1.570796, 11.25, 30.676055, 11.640922, None, None, 0.5, 0.5,
      0.453516, 0.155794),
    (8, 13.949734, 8.603647, 9.162979, 7.5, 9.162979, 4.666667, 66.180281, 58.540844, 8.607454, 8.06773,
      0.133333, 0.133333, 0.133333, 0.133333),
    (9, 14.6065, 2.614672, 2.617994, 15.0, 2.617994, 0.333333, 8.090141, 4.363143, 157.946816,
      157.918323, 0.066667, 0.066667, 0.066667, 0.050749),
    (10, 16.630794, 7.744725, 5.235988, 5.882686, 8.453547, 8.233527, 60.0, 60.0, 7.562886, 6.942423,
      0.2, 0.2, 0.2, 0.2),
    (11, 16.366492, 8.746577, 6.981317, 10.551704, 9.018593, 2.448549, 40.0, 39.045424, 12.327756,
      11.957156, 0.1, 0.1, 0.1, 0.1),
    (12, 16.344988, 4.572086, 3.665191, 6.301447, 4.678825, 3.545177, 35.0, 28.640376, 21.491719,
      21.281306, 0.166667, 0.166667, 0.166667, 0.165489),
    (13, 14.317821, 7.211103, 6.283185, 4.333333, 8.517546, 14.077483, 90.0, 87.618208, 5.634554,
      4.769507, 0.25, 0.25, 0.25, 0.25),
    (14, 15.393555, 5.818626, 2.094395, 3.792074, 6.632172, 25.051955, 60.0, 60.0, 7.364994, 6.726302,
      0.5, 0.5, 0.5, 0.383169),
    (15, 14.0, 14.0, 14.660766, 14.0, 14.660766, 2.142857, 57.953722, 53.861166, 14.0, 13.674794,
      0.071429, 0.071429, 0.071429, 0.071429),
    (16, 12.447532, 4.803821, 5.000494, 5.1162, 5.000494, 5.472812, 50.400553, 39.20166, 15.667333,
      15.377429, 0.195458, 0.195458, 0.195458, 0.195458),
)
TABLE_S = (
    ("S1", (6.0, 5.0, 30.0, 0.0, 4.5, 20.0, 0.0), 10.18879, 9.968583, 1.204394, 15.0, 10.0, 15.0, 10.0,
      16.882099, 10.0, 50.0, 6.889024),
    ("S2", (6.0, 8.0, 30.0, 0.0, 8.0, 30.0, 0.0), 14.37758, 14.0, 2.143594, 15.0, 15.0, 15.0, 15.0, 15.0,
      0.0, 60.0, 8.705169),
    ("S3", (5.0, 5.0, 60.0, 1.0, 2.0, 70.0, 0.0), 13.679449, 11.909474, 4.335641, 30.0, 35.0, 32.634606,
      28.945538, 32.107949, 10.0, 130.0, 20.004022),
    ("S4", (7.0, 6.0, 40.0, 2.0, 6.0, 25.0, 1.0), 16.806784, 15.658552, 4.147416, 20.0, 15.965985,
      23.879186, 12.5, 25.594257, 15.0, 65.0, 14.835046),
    ("S5", (4.0, 10.0, 45.0, 0.0, 6.0, 60.0, 0.0), 18.137167, 16.866623, 4.481846, 22.5, 30.0, 22.5,
      30.0, 19.204823, 15.0, 105.0, 14.880917),
    ("S6", (8.0, 3.0, 20.0, 1.5, 3.0, 20.0, 2.0), 13.594395, 13.46166, 0.874874, 10.0, 16.578472,
      14.183508, 13.312642, 9.100597, 0.0, 40.0, 3.718429),
)
TABLE_CURVES = (
    ("parab", (10.0, 0.1, 5.0), 15.201144, 14.036243, 26.565051, 0.528373, 4.763642, 0.830455, 9.965458,
      0.1, 10.0, 0.071554, 2.5, 2.795085, 11.21517, 10.625),
    ("parab", (8.0, 0.2, 6.0), 15.226083, 30.963757, 50.194429, 0.616876, 14.420773, 1.992328, 7.747943,
      0.2, 5.0, 0.052474, 3.0, 4.68615, 8.205125, 6.8),
    ("parab", (9.0, 0.05, 8.0), 17.208485, 11.309932, 21.801409, 0.518771, 5.376705, 0.843332, 8.960401,
      0.05, 20.0, 0.040021, 4.0, 4.308132, 21.57033, 20.8),
    ("logsp", (9.0, 15.0, 1.0, 50.0), 17.73245, 21.365012, 50.0, 0.4273, 10.353476, 1.617484, 8.85346,
      0.159552, 6.26755, 0.159552, 5.297606, 4.02723, 9.998587, 11.622314),
    ("logsp", (10.0, 10.0, 0.5, 35.0), 15.263909, 16.604988, 35.0, 0.474428, 5.651596, 0.984791,
      9.951391, 0.135721, 7.368045, 0.135721, 2.851452, 2.582229, 8.616717, 9.06812),
    ("logsp", (8.0, 20.0, 1.5, 60.0), 18.561606, 22.329916, 60.0, 0.372165, 12.498541, 1.731318,
      7.810412, 0.240524, 4.157592, 0.240524, 7.155005, 4.448381, 10.048827, 13.343643),
    ("clothoid", (10.0, 0.04, 6.0), 16.0, 13.689873, 41.252961, 0.331852, 5.051794, 0.880563, 9.961155,
      0.24, 4.166667, 0.24, 4.114303, 2.104311, 8.260583, 12.386412),
    ("clothoid", (9.0, 0.03, 8.0), 17.0, 18.188341, 55.003948, 0.330673, 8.3667, 1.309572, 8.904214,
      0.24, 4.166667, 0.24, 5.615826, 2.925252, 8.202939, 12.297461),
)
# fmt: on

ARC_CASES = tuple(
    ArcCase(
        number=int(row[0]),
        a=row[1],
        R=row[2],
        theta=row[3],
        b=row[4],
        printed=dict(zip(A_COLUMNS, row[5:], strict=True)) | dict(zip(B_COLUMNS, more[1:], strict=True)),
    )
    for row, more in zip(TABLE_A, TABLE_B, strict=True)
)
S_CASES = tuple(
    SCase(
        name=row[0],
        **dict(zip(("a", "R1", "theta1", "m", "R2", "theta2", "b"), row[1], strict=True)),
        printed=dict(zip(S_COLUMNS, row[2:], strict=True)),
    )
    for row in TABLE_S
)
CURVE_CASES = tuple(
    CurveCase(
        kind=row[0],
        a=row[1][0],
        parameters=row[1][1:],
        printed=dict(zip(CURVE_COLUMNS, row[2:], strict=True)),
    )
    for row in TABLE_CURVES
)

# Straight guide tubes with one arc: R, theta, then arc length, chord, tangent length T and sagitta.
TUBES = (
    (2.0, 30.0, 1.047198, 1.035276, 0.535898, 0.068148),
    (2.0, 45.0, 1.570796, 1.530734, 0.828427, 0.152241),
    (2.0, 60.0, 2.094395, 2.000000, 1.154701, 0.267949),
    (5.0, 30.0, 2.617994, 2.588190, 1.339746, 0.170371),
    (5.0, 45.0, 3.926991, 3.826834, 2.071068, 0.380602),
    (5.0, 60.0, 5.235988, 5.000000, 2.886751, 0.669873),
    (7.5, 60.0, 7.853982, 7.500000, 4.330127, 1.004809),
    (10.0, 60.0, 10.471976, 10.000000, 5.773503, 1.339746),
)

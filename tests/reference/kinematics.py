"""Forward kinematics of every linkage, worked out again from the textbook formulas.

What the face does at given servo angles is what `lipwright verify` and the stage rely on, and both use the
rig's own kinematics; here it is computed by code that shares nothing with it:

- rotary: the sine of the axle's angle times the lever;
- push-rod: the slider is where a circle of the rod's length around the pin meets the slider's line (any text on
  machine kinematics; the offset slider-crank);
- five-bar: the tip is where two circles of the rods' length around the elbows meet; crank angles at rest by the
  law of cosines (forward and inverse position analysis as in C. Gosselin and J. Angeles 1990, from memory);
- differential: half sum and half difference;
- measured table: scipy's PchipInterpolator (F. N. Fritsch and J. Butland 1984).
"""

import numpy as np
from scipy.interpolate import PchipInterpolator

import judge

case = judge.case()


def circles(c1, r1, c2, r2):
    """Where two circles meet (P. Bourke, "Circles and spheres", from memory)."""
    c1, c2 = np.asarray(c1, float), np.asarray(c2, float)
    d = np.linalg.norm(c2 - c1)
    along = (r1**2 - r2**2 + d**2) / (2 * d)
    across = np.sqrt(max(r1**2 - along**2, 0.0))
    middle = c1 + along * (c2 - c1) / d
    normal = np.array([-(c2 - c1)[1], (c2 - c1)[0]]) / d
    return middle + across * normal, middle - across * normal


def slide(m, horn_deg):
    """Slider position: the farther meeting point of the rod's circle and the line y = offset."""
    pin = m["horn_radius_mm"] * np.exp(1j * np.radians(horn_deg))
    fall = m["offset_mm"] - pin.imag
    return pin.real + np.sqrt(m["rod_length_mm"] ** 2 - fall**2)


def push_rod(m, theta):
    horn = m["neutral_horn_deg"]
    return m["lever_ratio"] * (slide(m, horn + theta) - slide(m, horn))


def five_bar(m, thetas):
    axles = [np.zeros(2), np.array([m["base_mm"], 0.0])]
    a, b = m["proximal_mm"], m["distal_mm"]
    rest = np.array([m["rest_x_mm"], m["rest_y_mm"]])
    # Of the two elbows that reach the rest point, the one on the side that the description names: seen from
    # axle to tip, left or right.
    first_left = {"out": True, "in": False, "left": True, "right": False}[m["elbows"]]
    second_left = {"out": False, "in": True, "left": True, "right": False}[m["elbows"]]
    elbows = []
    for axle, left, theta in zip(axles, [first_left, second_left], thetas):
        options = circles(axle, a, rest, b)
        ahead = rest - axle
        side = [ahead[0] * (p - axle)[1] - ahead[1] * (p - axle)[0] for p in options]
        at_rest = options[int(np.argmax(side) if left else np.argmin(side))] - axle
        turn = np.exp(1j * np.radians(theta)) * complex(*at_rest)
        elbows.append((axle + at_rest, axle + np.array([turn.real, turn.imag])))

    def cross(p, pair):
        (x1, y1), (x2, y2) = pair
        return (x2 - x1) * (p[1] - y1) - (y2 - y1) * (p[0] - x1)

    # The assembly stays the one of the rest pose: the tip on the same side of the line through the elbows.
    side = cross(rest, (elbows[0][0], elbows[1][0])) >= 0
    now = (elbows[0][1], elbows[1][1])
    tip = next(p for p in sorted(circles(now[0], b, now[1], b), key=lambda p: (cross(p, now) >= 0) != side))
    moved = complex(*(tip - rest)) * np.exp(1j * np.radians(m["rotation_deg"]))
    return moved.real, moved.imag


def outputs(m, servos, angles):
    theta = [angles[name] for name in m["servos"]]
    if m["kind"] == "rotary":
        phi = m["ratio"] * theta[0]
        return [m["lever_mm"] * np.sin(np.radians(phi)) if m.get("lever_mm") else phi]
    if m["kind"] == "push-rod":
        return [push_rod(m, theta[0])]
    if m["kind"] == "five-bar":
        return five_bar(m, theta)
    if m["kind"] == "differential":
        common, difference = [v for k, v in m.items() if k.startswith(("common", "difference"))]
        return [common * (theta[0] + theta[1]) / 2, difference * (theta[0] - theta[1]) / 2]
    servo = servos[m["servos"][0]]
    points = sorted((angle_of(servo, p["pulse_us"]), p["value"]) for p in m["points"])
    return [float(PchipInterpolator(*zip(*points))(theta[0]))]


def angle_of(servo, pulse):
    return (pulse - servo["pulse_neutral_us"]) / servo["us_per_degree"]


def face(rig, pulses):
    """Every degree of freedom at these pulses."""
    servos = {s["name"]: s for s in rig["servos"]}
    angles = {s["name"]: angle_of(s, p) for s, p in zip(rig["servos"], pulses)}
    values = {}
    for m in rig["mechanisms"]:
        q = list(outputs(m, servos, angles))
        if len(q) == 1:
            q = q * len(m["drives"])
        for drive, out in zip(m["drives"], q):
            neutral = next(v for k, v in drive.items() if k.startswith("at_neutral"))
            values[drive["dof"]] = drive["gain"] * out + neutral
    return values


poses = 0
for rig in case["rigs"]:
    worst, breach, tied = 0.0, -np.inf, -np.inf
    for pose in rig["poses"]:
        values = face(rig["rig"], pose["pulses"])
        assert set(values) == set(pose["dofs"]), (sorted(values), sorted(pose["dofs"]))
        worst = max([worst] + [abs(values[d] - v) for d, v in pose["dofs"].items()])
        poses += 1
        if not pose["planned"]:
            continue
        for dof in rig["rig"]["dofs"]:
            low, high = [v for k, v in sorted(dof.items(), reverse=True) if k.startswith("skin_m") ]
            breach = max(breach, low - values[dof["dof"]], values[dof["dof"]] - high)
        for c in rig["rig"].get("couplings", []):
            total = sum(t["factor"] * values[t["dof"]] for t in c["terms"])
            tied = max(tied, c.get("min_mm", -np.inf) - total, total - c.get("max_mm", np.inf))
    judge.check(f"{rig['rig']['name']}, {len(rig['poses'])} poses: largest difference", worst, 1e-9, "mm or deg")
    if breach > -np.inf:
        judge.check("  planned line: farthest beyond what the skin allows", breach, 0.05, "mm or deg")
    if tied > -np.inf:
        judge.check("  planned line: farthest beyond a limit between parts", tied, 0.05, "mm")

worst = {"push-rod": 0.0, "five-bar": 0.0, "differential": 0.0}
for linkage in case["linkages"]:
    for point in linkage["points"]:
        if linkage["kind"] == "push-rod":
            miss = abs(push_rod(linkage, point["angles"][0]) - point["values"][0])
        elif linkage["kind"] == "differential":
            angles = dict(zip(linkage["servos"], point["angles"]))
            miss = np.abs(np.subtract(outputs(linkage, {}, angles), point["values"])).max()
        else:
            miss = np.abs(np.subtract(five_bar(linkage, point["angles"]), point["values"])).max()
        worst[linkage["kind"]] = max(worst[linkage["kind"]], miss)
for kind, miss in worst.items():
    count = sum(len(l["points"]) for l in case["linkages"] if l["kind"] == kind)
    judge.check(f"random {kind}s, {count} positions: largest difference", miss, 1e-9, "mm")
    judge.check(f"random {kind}s, positions", count, 20 if kind == "differential" else 500, at_least=True)
judge.check("poses of whole heads", poses, 1000, at_least=True)
judge.done()

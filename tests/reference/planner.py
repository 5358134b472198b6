"""The planner's solver against OSQP (B. Stellato et al., Mathematical Programming Computation 12, 2020).

The programme is built here from its definition (core/src/motion/solver/problem.rs): tracking, squared second and
third differences over the known frames too, limits on angle, speed and acceleration, rows between servos.
"""

import numpy as np
import osqp
import scipy.sparse as sp

import judge

case = judge.case()


def differences(n, order):
    """Rows of the order-th difference of the n + 4 extended frames."""
    d = sp.eye(n + 4, format="csr")
    for _ in range(order):
        d = d[1:] - d[:-1]
    return d


worst_gap = worst_angle = 0.0
for p in case["problems"]:
    n, m = p["frames"], p["width"]
    wanted, weight = np.array(p["wanted"]).reshape(n, m), np.array(p["weight"]).reshape(n, m)
    size = n * m
    quadratic = sp.csc_matrix((size, size))
    linear = np.zeros(size)
    constant = 0.0
    rows, low, high = [], [], []
    for c in range(m):
        # extended = lift @ theta + fixed
        lift = sp.csr_matrix((np.ones(n), (np.arange(n) + 2, np.arange(n) * m + c)), shape=(n + 4, size))
        fixed = np.zeros(n + 4)
        fixed[:2], fixed[-2:] = p["before"][c], p["after"][c]

        def square(matrix, offset, factors):
            global quadratic, linear, constant
            quadratic = quadratic + 2 * matrix.T @ sp.diags(factors) @ matrix
            linear = linear + 2 * matrix.T @ (factors * offset)
            constant += float(np.sum(factors * offset**2))

        pick = lift[2:-2]
        square(pick, -wanted[:, c], weight[:, c])
        second = differences(n, 2)
        square(second @ lift, second @ fixed, np.full(n + 2, p["smooth"][c]))
        limits = p["limits"][c]
        rows.append(pick)
        low.append(np.full(n, limits["lower"]))
        high.append(np.full(n, limits["upper"]))
        first = differences(n, 1)[1:-1]
        rows.append(first @ lift)
        low.append(-limits["down"] - first @ fixed)
        high.append(limits["up"] - first @ fixed)
        rows.append(second @ lift)
        low.append(-limits["acceleration"] - second @ fixed)
        high.append(limits["acceleration"] - second @ fixed)
    for row in p["rows"]:
        matrix = sp.csr_matrix(([t[2] for t in row["terms"]], ([0] * len(row["terms"]), [t[0] * m + t[1] for t in row["terms"]])), shape=(1, size))
        rows.append(matrix)
        low.append([row["lower"]])
        high.append([row["upper"]])
    solver = osqp.OSQP()
    solver.setup(sp.csc_matrix(quadratic), linear, sp.vstack(rows).tocsc(), np.concatenate(low), np.concatenate(high),
                 eps_abs=1e-8, eps_rel=1e-8, max_iter=400000, polishing=True, verbose=False)
    answer = solver.solve()
    assert answer.info.status in ("solved", "solved inaccurate"), answer.info.status
    theirs = answer.x

    def objective(x):
        return float(0.5 * x @ (quadratic @ x) + linear @ x + constant)

    ours = np.array(p["angles"])
    gap = (objective(ours) - objective(theirs)) / max(abs(objective(theirs)), 1e-3)
    worst_gap = max(worst_gap, abs(gap))
    worst_angle = max(worst_angle, np.abs(ours - theirs).max())
    values = sp.vstack(rows) @ ours
    breach = max((values - np.concatenate(high)).max(), (np.concatenate(low) - values).max())
    judge.check(f"{n} frames, {m} servos: largest breach of a limit", breach, 1e-6, "deg")
print(f"{len(case['problems'])} problems")
judge.check("objective, largest difference", 100 * worst_gap, 0.1, "%")
judge.check("angles, largest difference", worst_angle, 0.05, "deg")
judge.done()

"""The independent reference: the same magnet with every cubic millimetre of air meshed, in NGSolve.

Nothing of the method under test is used: another mesher interface, another solver, air instead of
tubes, no film. The thin gap under the part is a slab of thickness SLAB_MM whose permeability across is
mu0 SLAB / gap and along mu0 gap / SLAB, which carries the same flux as the gap itself. The pull is the
derivative of the energy by the gap, the integral of B_n^2 / (2 mu0) over the slab divided by SLAB.
"""

import numpy as np

SLAB_MM = 0.2
MU0 = 4e-7 * np.pi


def solid(*, box=None, cut=(), cylinder=None):
    """A netgen solid from boxes and cylinders: (x0, y0, z0, x1, y1, z1) and (x, y, z, radius, height)."""
    from netgen.occ import Box, Cylinder, Pnt, Z

    def make(kind, v):
        if kind == "box":
            return Box(Pnt(*v[:3]), Pnt(*v[3:]))
        return Cylinder(Pnt(*v[:3]), Z, r=v[3], h=v[4])

    shape = make("box", box) if box else make("cylinder", cylinder)
    for kind, v in cut:
        shape = shape - make(kind, v)
    return shape


def flat_pull(part, poles, laws, *, gap_um, mmf_a, source_gap_mm, size_mm=2.5, half_x=False, half_y=False,
              slab_mm=SLAB_MM, air_share=1.0):  # fmt: skip
    """Pull on a part that lies flat at z = 0 on poles whose backs are at one level, N.

    `part` is drawn with its underside at z = 0 and is lifted by the slab. Symmetry halves: y >= 0 with
    mirrored field, x >= 0 with opposite poles. `air_share` below one takes the air away.
    """
    import ngsolve as ng
    from netgen.occ import Box, Glue, OCCGeometry, Pnt

    low = poles[0][0].bounding_box[0].z
    far = 40.0
    top = part.bounding_box[1].z + far
    reach = [
        max(abs(getattr(b, c)) for s in [part] + [p for p, _ in poles] for b in s.bounding_box) for c in "xy"
    ]
    air = Box(
        Pnt(0 if half_x else -reach[0] - far, 0 if half_y else -reach[1] - far, low),
        Pnt(reach[0] + far, reach[1] + far, top),
    )
    lifted = part.Move((0, 0, slab_mm))
    (x0, y0), (x1, y1) = ((b.x, b.y) for b in part.bounding_box)
    layer = Box(Pnt(x0 - 1, y0 - 1, 0), Pnt(x1 + 1, y1 + 1, slab_mm))
    # Only where part and pole face each other: a slab that reached past the pole would leak flux
    # sideways within its first element.
    slab = None
    for pole, _ in poles:
        over = part * pole.Move((0, 0, slab_mm)) * layer
        slab = over if slab is None else slab + over
    pieces = []
    for shape, name in [(lifted, "part"), (slab, "slab")] + [
        (p, f"pole{i}") for i, (p, _) in enumerate(poles)
    ]:
        piece = shape * air
        piece.mat(name)
        piece.maxh = size_mm
        pieces.append(piece)
    rest = air
    for p in pieces:
        rest = rest - p
    rest.mat("air")
    rest.maxh = 15
    for i, _ in enumerate(poles):
        for face in pieces[2 + i].faces:
            if abs(face.center.z - low) < 1e-6 and abs(face.bounding_box[1].z - low) < 1e-6:
                face.name = f"back{i}"
    shape = Glue([*pieces, rest])
    if half_x:
        for face in shape.faces:
            if abs(face.bounding_box[1].x) < 1e-6:
                face.name = "even"
    mesh = ng.Mesh(OCCGeometry(shape).GenerateMesh(maxh=15, grading=0.4))
    space = ng.H1(mesh, order=2, dirichlet="even")
    u = space.TrialFunction()
    mm = 1e-3
    form = ng.BilinearForm(space, symmetric=True)
    # Lengths in mm: the field is grad(u) / mm and a volume mm^3.
    field2 = (ng.grad(u) * ng.grad(u)) / mm**2 + 1e-6
    for i, name in enumerate(["part"] + [f"pole{k}" for k in range(len(poles))]):
        form += energy(
            ng, coenergy(ng, laws[min(i, 1)], field2) * mm**3 * ng.dx(definedon=mesh.Materials(name))
        )
    form += energy(ng, 0.5 * air_share * MU0 * field2 * mm**3 * ng.dx(definedon=mesh.Materials("air")))
    gap = gap_um * 1e-3
    across = MU0 * slab_mm / gap * ng.grad(u)[2] ** 2
    along = MU0 * gap / slab_mm * (ng.grad(u)[0] ** 2 + ng.grad(u)[1] ** 2)
    slab_dx = ng.dx(definedon=mesh.Materials("slab"))
    form += energy(ng, 0.5 * (across + along) / mm**2 * mm**3 * slab_dx)
    for i, (_, sign) in enumerate(poles):
        k = MU0 / (source_gap_mm * mm)
        behind = ng.ds(definedon=mesh.Boundaries(f"back{i}"))
        form += energy(ng, 0.5 * k * (u - sign * mmf_a) ** 2 * mm**2 * behind)
    phi = minimise(ng, space, form, ng.GridFunction(space), precondition="direct", share=1e-9)
    b = MU0 * slab_mm / gap * ng.grad(phi)[2] / mm
    pull = ng.Integrate(b * b / (2 * MU0), mesh, definedon=mesh.Materials("slab")) * mm**2 / slab_mm
    return pull * (2 if half_x else 1) * (2 if half_y else 1), space.ndof


def energy(ng, integral):
    """A share of the energy that is minimised; compiled, what occurs twice in it is evaluated once."""
    return ng.Variation(integral.Compile())


def coenergy(ng, law, field2):
    """The B-H law's coenergy as an NGSolve expression."""
    h = ng.sqrt(field2)
    w = 0.5 * MU0 * field2
    for j, a in law.knees:
        w = w + j * (2 / np.pi) * (h * ng.atan(h / a) - a / 2 * ng.log(1 + field2 / a**2))
    for j, a in law.feet:
        w = w + j * (h - a * ng.atan(h / a))
    return w


def table_law(ng, points):
    """B(H) straight from a table of (A/m, T), with the slope of air beyond its end; no fitted law."""
    field, flux = (list(c) for c in zip((0.0, 0.0), *points, strict=True))
    far = 1e8
    end = flux[-1] + MU0 * (far - field[-1])
    return ng.BSpline(2, [0.0, *field, far], [*flux, end])


def minimise(ng, space, form, phi, *, precondition="bddc", share=1e-7):
    """Newton's method on a convex energy, each step halved while that lowers the energy further.

    Stops when what the step still gains is below a share of the energy.
    """
    free = np.array(list(space.FreeDofs()), dtype=bool)
    kind = {"inverse": "sparsecholesky"} if precondition == "direct" else {}
    before = ng.Preconditioner(form, precondition, **kind)
    residual, step, trial = (phi.vec.CreateVector() for _ in range(3))
    energy = form.Energy(phi.vec)
    for _ in range(80):
        form.Apply(phi.vec, residual)
        residual.FV().NumPy()[~free] = 0.0
        form.AssembleLinearization(phi.vec)
        before.Update()
        step.data = ng.CGSolver(form.mat, before.mat, tol=1e-5, maxiter=500) * residual
        gain = ng.InnerProduct(step, residual)
        if gain < share * abs(energy):
            phi.vec.data -= step
            return phi
        best, size = (energy, 0.0), 1.0
        while size > 1e-4:
            trial.data = phi.vec - size * step
            found = form.Energy(trial)
            if found >= best[0] and best[1] > 0:
                break
            best = min(best, (found, size))
            size /= 2
        if best[1] == 0:
            break
        phi.vec.data -= best[1] * step
        energy = best[0]
    raise RuntimeError("the reference did not converge")


def shell_force(ng, mesh, field_a_m, body, *, through="air", lengths_mm=3, where=1.0, still=""):
    """Force on a body from the stress in the air round it, N (N per m where `lengths_mm` is 2).

    Any function that is one on the body and zero on all other solids will do as weight; the one that
    solves Laplace's equation spreads the sum over the whole gap. `where` counts only a share of it;
    `still` names boundaries that stay where they are.
    """
    space = ng.H1(mesh, order=1, dirichlet=still)
    weight = ng.GridFunction(space)
    value = np.full(space.ndof, np.nan)
    for element in space.Elements(ng.VOL):
        if element.mat not in (body, through):
            value[list(element.dofs)] = 0.0
    for element in space.Elements(ng.VOL):
        if element.mat == body:
            value[list(element.dofs)] = 1.0
    open_ = ng.BitArray(space.ndof)
    for i, (v, free) in enumerate(zip(value, space.FreeDofs(), strict=True)):
        open_[i] = bool(np.isnan(v) and free)
    weight.vec.FV().NumPy()[:] = np.nan_to_num(value)
    u, v = space.TnT()
    laplace = ng.BilinearForm(ng.grad(u) * ng.grad(v) * ng.dx).Assemble()
    right = weight.vec.CreateVector()
    right.data = laplace.mat * weight.vec
    weight.vec.data -= laplace.mat.Inverse(open_, inverse="sparsecholesky") * right
    slope, air = ng.grad(weight), ng.dx(definedon=mesh.Materials(through))
    mm = 1e-3
    return np.array(
        [
            -ng.Integrate(
                where
                * MU0
                * ((field_a_m * slope) * field_a_m[k] - 0.5 * (field_a_m * field_a_m) * slope[k])
                * air,
                mesh,
            )
            * mm ** (lengths_mm - 1)
            for k in range(mesh.dim)
        ]
    )

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


def flat_pull(part, poles, laws, *, gap_um, mmf_a, source_gap_mm, size_mm=2.5, half_x=False, half_y=False):
    """Pull on a part that lies flat at z = 0 on poles whose backs are at one level, N.

    `part` is drawn with its underside at z = 0 and is lifted by the slab. Symmetry halves: y >= 0 with
    mirrored field, x >= 0 with opposite poles.
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
    lifted = part.Move((0, 0, SLAB_MM))
    (x0, y0), (x1, y1) = ((b.x, b.y) for b in part.bounding_box)
    layer = Box(Pnt(x0 - 1, y0 - 1, 0), Pnt(x1 + 1, y1 + 1, SLAB_MM))
    # Only where part and pole face each other: a slab that reached past the pole would leak flux
    # sideways within its first element.
    slab = None
    for pole, _ in poles:
        over = part * pole.Move((0, 0, SLAB_MM)) * layer
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
        form += ng.Variation(
            _coenergy(ng, laws[min(i, 1)], field2) * mm**3 * ng.dx(definedon=mesh.Materials(name))
        )
    form += ng.Variation(0.5 * MU0 * field2 * mm**3 * ng.dx(definedon=mesh.Materials("air")))
    gap = gap_um * 1e-3
    across = MU0 * SLAB_MM / gap * ng.grad(u)[2] ** 2
    along = MU0 * gap / SLAB_MM * (ng.grad(u)[0] ** 2 + ng.grad(u)[1] ** 2)
    slab_dx = ng.dx(definedon=mesh.Materials("slab"))
    form += ng.Variation(0.5 * (across + along) / mm**2 * mm**3 * slab_dx)
    for i, (_, sign) in enumerate(poles):
        k = MU0 / (source_gap_mm * mm)
        form += ng.Variation(
            0.5 * k * (u - sign * mmf_a) ** 2 * mm**2 * ng.ds(definedon=mesh.Boundaries(f"back{i}"))
        )
    phi = _minimise(ng, space, form)
    b = MU0 * SLAB_MM / gap * ng.grad(phi)[2] / mm
    pull = ng.Integrate(b * b / (2 * MU0), mesh, definedon=mesh.Materials("slab")) * mm**2 / SLAB_MM
    return pull * (2 if half_x else 1) * (2 if half_y else 1), space.ndof


def _coenergy(ng, law, field2):
    """The B-H law's coenergy as an NGSolve expression."""
    h = ng.sqrt(field2)
    w = 0.5 * MU0 * field2
    for j, a in law.knees:
        w = w + j * (2 / np.pi) * (h * ng.atan(h / a) - a / 2 * ng.log(1 + field2 / a**2))
    for j, a in law.feet:
        w = w + j * (h - a * ng.atan(h / a))
    return w


def _minimise(ng, space, form):
    """Newton's method with halving steps on the energy."""
    phi = ng.GridFunction(space)
    residual, step = phi.vec.CreateVector(), phi.vec.CreateVector()
    trial = phi.vec.CreateVector()
    first = None
    energy = form.Energy(phi.vec)
    for _ in range(60):
        form.Apply(phi.vec, residual)
        for i, free in enumerate(space.FreeDofs()):
            if not free:
                residual[i] = 0.0
        size = ng.Norm(residual)
        first = first or size
        if size < 1e-8 * first:
            return phi
        form.AssembleLinearization(phi.vec)
        step.data = form.mat.Inverse(space.FreeDofs(), inverse="sparsecholesky") * residual
        share = 1.0
        while share > 1e-4:
            trial.data = phi.vec - share * step
            found = form.Energy(trial)
            if found < energy + 1e-12 * abs(energy):
                break
            share /= 2
        phi.vec.data = trial
        energy = found
    raise RuntimeError("the reference did not converge")

"""The lid of wave-rings.toml as a script: it uses the same names and makes the same drawing.

The tide box is invented for this project.
"""

import lobework as lw

cam = lw.Wave(lobes=12, base_radius=62, rise=2.2)
ring = lw.Pass(
    name="wave rings",
    at=lw.At(x=35, depth=0.19),
    cams=[lw.Drive(cam, follower=lw.Roller(4))],
)
job = lw.Job(
    title="Tide box, lid: wave rings",
    lathe=lw.read_lathe("rocking-bench"),
    piece=lw.Disc(diameter=76, thickness=9, material="boxwood"),
    cutter=lw.Vee(angle_deg=60, width=3),
    passes=[ring.series(36, x=-0.75, phase="1/12 lobe", name="ring")],
)

for finding in job.check():
    print(finding)
print(job.write("svg", "wave-rings"))

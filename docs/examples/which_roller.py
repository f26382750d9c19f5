"""Print which rollers reach the hollows of several cams, before a cam is made.

The cams are invented for this project.
"""

import lobework as lw

BASE_RADIUS = 62
ON_THE_SHELF = (3, 6, 10)

print("lobes  rise    largest roller   misses with rollers of " + ", ".join(f"{radius} mm" for radius in ON_THE_SHELF))
for lobes in (6, 12, 24):
    for rise in (1, 2.5, 5):
        cam = lw.Wave(lobes=lobes, base_radius=BASE_RADIUS, rise=rise)
        misses = []
        for radius in ON_THE_SHELF:
            bridges = lw.lift_of(cam, lw.Roller(radius)).bridges
            misses.append(max((bridge.depth for bridge in bridges), default=0.0))
        reaches = lw.largest_roller(cam)
        largest = "any" if reaches > BASE_RADIUS else f"{reaches:.1f} mm"
        print(f"{lobes:5}  {rise:3} mm  {largest:>14}   " + "  ".join(f"{miss:.3f} mm" for miss in misses))

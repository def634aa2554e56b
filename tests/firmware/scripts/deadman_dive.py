"""A dive of the second board by script, for both interpreters: every step under a locked heap, its records printed."""

import binascii

try:
    from micropython import heap_lock, heap_unlock
except ImportError:
    def heap_lock() -> None:
        pass

    heap_unlock = heap_lock

from deadman import DeadMan, Inputs, Outputs
from lander.orders import Orders, pack, unpack


def main() -> None:
    orders = Orders()
    orders.timed_release_ds = 6000
    orders.latest_release_ds = 9000
    orders = unpack(pack(orders))
    inputs = Inputs()
    outputs = Outputs()
    man = DeadMan(orders, (b"", b""), 1, 0, 600)
    now_ds = 0
    fired = 0
    driven = 0
    while now_ds < 40000:
        inputs.uptime_ds = now_ds
        inputs.pressure_ok = inputs.contact_ok = 1
        inputs.contact_wet = 1 if now_ds > 1500 else 0
        depth_cm = min(4000, max(0, now_ds - 1500) * 8)
        if fired > 3:
            depth_cm = max(0, 4000 - 5 * (now_ds - driven))
        inputs.pressure_mbar = 1013 + depth_cm
        inputs.magnet = 1 if 500 < now_ds < 600 or 700 < now_ds < 800 else 0
        inputs.heartbeats = now_ds // 100 & 0xFFFF
        before = outputs.fire_pct
        heap_lock()
        man.step(inputs, outputs)
        heap_unlock()
        if outputs.write:
            print(now_ds, outputs.slot, binascii.hexlify(outputs.record))
        if outputs.fire_pct and not before:
            fired += 1
            driven = now_ds
        now_ds += outputs.wake_ds
    print("fired", fired, "state", man.state)


main()

"""What can be brought about at the virtual rig, by name."""

from rig.virtual.board import converter
from rig.virtual.tower import plant

FAULTS = {
    "lose_bytes": "share of bytes lost, both ways",
    "damage_bytes": "share of bytes with one bit turned, both ways",
    "lose_next": "number of the board's next bytes lost",
    "damage_next": "number of the board's next bytes with one bit turned",
    "skip_frames": "number of the board's next frames lost inside it (numbered, counted, not sent)",
    "silent": "nothing passes the line, the board runs on",
    "hang": "the firmware hangs; its watchdog resets it",
    "reset": "somebody presses the board's reset button",
    "unplugged": "the cable is out: no port and no power",
    "encoder_noise": "an illegal edge for every millisecond of motion",
    "wrong_wire_version": "the board speaks the next wire version (it is reset)",
    "wrong_firmware_name": "another firmware answers (the board is reset)",
    **plant.FAULTS,
    **converter.FAULTS,  # of a stand-in with a converter
}

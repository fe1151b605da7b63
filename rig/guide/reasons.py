"""The interlock's reasons in words a person can act on."""

from rig.board.wire import Reason

TEXT: dict[Reason, str] = {
    Reason.NONE: "all is well",
    Reason.GUARD_OPEN: "the guard is open, or its loop is cut: close it; if closed, check the wire",
    Reason.ESTOP_OPEN: "the e-stop is pressed, or its loop is cut: release it; else check the wire",
    Reason.BEAT_LOST: "the board lost touch with this program and made itself safe",
    Reason.OUTSIDE_WINDOW: "the carriage is outside its height band: bring it back into the band",
    Reason.NOT_STEADY: "the carriage is not at rest: let it hang still",
    Reason.BUTTON_HELD: "the release button is already pressed: let go of it; or check it",
    Reason.BAD_WINDOW: "the height band asked for is empty",
    Reason.TRIPPED: "tripped, and the carriage may still fall: open the guard, look, close it",
    Reason.BUSY: "a release or the drive is under way: let it end first",
    Reason.NOT_ARMED: "the interlock was no longer armed",
    Reason.WRONG_NONCE: "the permit did not match the arming",
    Reason.ARM_EXPIRED: "arming ran out of time",
    Reason.PERMIT_EXPIRED: "the permit ran out after 10 s without the button",
    Reason.HOST_DISARM: "disarmed from this program",
    Reason.GUARD_NOT_CYCLED: "open the guard, look at the rig, and close it again",
    Reason.NO_RELEASE: "the latch was opened and no fall was seen (it may still fall): pin in? "
    "Look at the latch, and that the encoder is plugged in and its wire hooked to the carriage",
    Reason.ENCODER_BACKWARDS: "height rose in the fall: encoder wires A and B are swapped",
    Reason.REVERSED: "the carriage struck and turned; the catch was let go",
    Reason.FLIGHT_TIMEOUT: "the carriage fell and did not rebound",
    Reason.WATCHDOG: "the board's program hung and was restarted by its watchdog",
    Reason.RELEASED: "released by hand",
    Reason.BAD_COMMAND: "the board did not understand a command",
    Reason.NOT_TRIPPED: "the interlock is not tripped",
    Reason.STALL: "the carriage reached no switch in time: look for what holds it",
    Reason.TARGET: "all strokes asked for are made",
    Reason.STOPPED: "stopped by the button",
    Reason.SWITCH_FAULT: "near and far switch make no sense: look at both and their wires",
}

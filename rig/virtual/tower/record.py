"""What truly happened in each drop: for the tests to compare with, never seen by the board."""

from dataclasses import dataclass, field


@dataclass
class Strike:
    """One contact: speeds are positive, `rebound_speed` is 0 when the carriage stayed down."""

    time_s: float
    speed: float
    energy_j: float
    rebound_speed: float = 0.0
    contact_s: float = 0.0


@dataclass
class DropTruth:
    """One release and all that followed, heights in metres above the surface at release."""

    release_s: float
    release_height_m: float
    strikes: list[Strike] = field(default_factory=list)
    caught: bool = False
    catch_height_m: float | None = None

    @property
    def first(self) -> Strike:
        """The first strike."""
        return self.strikes[0]

    @property
    def second(self) -> Strike | None:
        """The second strike, if the catch did not prevent it."""
        return self.strikes[1] if len(self.strikes) > 1 else None

    @property
    def impact_speed(self) -> float:
        """Speed at first contact, m/s."""
        return self.first.speed

    @property
    def impact_energy_j(self) -> float:
        """Half m v squared at first contact."""
        return self.first.energy_j

    @property
    def rebound_speed(self) -> float:
        """Upward speed as the carriage left the specimen, m/s."""
        return self.first.rebound_speed

    @property
    def restitution(self) -> float:
        """Rebound speed over impact speed."""
        return self.first.rebound_speed / self.first.speed

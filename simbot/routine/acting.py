"""What a robot does at an instant: commands, needs, picks and places, and the load that these change.

Nothing here takes time. The sequencer says when.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import hypot

from simbot.physics.move import DriveTo, Spin, SpinTo
from simbot.physics.plant import Plant
from simbot.physics.told import Told
from simbot.routine.commands import Commanded, commands_of, sent_to
from simbot.routine.trace import (
    AtHand,
    Award,
    Delivery,
    Fall,
    Log,
    Mishap,
    NeedRecord,
    PickRecord,
    PlaceRecord,
)
from simbot.routine.world import Hands, World
from simbot.scenario.model import (
    ActStep,
    DriveStep,
    EndCondition,
    HandOverStep,
    LetGoStep,
    Need,
    PickStep,
    PlaceStep,
    Plan,
    Pose,
    SpinStep,
    Step,
    Target,
)
from simbot.scenario.once import once_a_plan

KEPT_IN_HAND = ("stuck", "left")  # outcomes of a failed place after which the element is still held
MISSED_BY_CHANCE = "it closed on nothing, as it does now and then"
NOTHING_LEFT = "there was nothing left to take"
NO_ROOM = "its hand was full"
TAKEN_OVER = "taken over"


@dataclass(slots=True)
class Attempt:
    """One try of a `try` step: it has failed as soon as something in it has."""

    why: str = ""

    def fail(self, why: str) -> None:
        self.why = self.why or why


@dataclass(slots=True)
class Grip:
    """A pick or hand over that is closing: it holds once its `by` has arrived for good."""

    step: PickStep | HandOverStep
    begins_us: int
    move: int
    slot: int
    attempt: Attempt | None
    fails: bool  # by chance, when it has closed
    due_us: int | None = None
    over: bool = False


class Actor:
    """Carries out steps on the plant and in the world, and logs them.

    `changed` says that something was commanded since predictions were last made.
    """

    def __init__(self, plan: Plan, plant: Plant, log: Log, world: World) -> None:
        self.plan = plan
        self.plant = plant
        self.log = log
        self.world = world
        rooms = {name: spec.values.get("room") for name, spec in plan.robot.mechanisms.items()}
        self.hands = Hands(plan.game, plan.start.holds, rooms)
        self.allowances: dict[int, float] = {}  # index of a move -> by what share a person is slower
        self.grips: list[Grip] = []
        self.latest: dict[str, int] = {}  # mechanism -> index of its latest move
        self.changed = False
        self._carriers = carriers_of(plan)
        self._commands = commands_of(plan)
        self._loads: dict[str, float] = {}
        self._load()

    def command(self, what: Commanded) -> int:
        """Give a command now; index of the move."""
        step, mechanism = what.step, what.mechanism
        if self.grips:
            self._send_elsewhere(mechanism, sent_to(what.command))
        if what.opens and self.hands.count(mechanism) > 0:
            self._at_hand("opened_full", step.line, mechanism)
        index = self.log.move(step, self.plant.command(mechanism, what.command), what.label)
        self.latest[mechanism] = index
        self.changed = True
        return index

    def carry_out(self, step: Step) -> list[int]:
        """Give all commands of a step now; indices of the moves."""
        return [self.command(what) for what in self._commands[id(step)]]

    def drive(self, step: DriveStep) -> list[int]:
        (index,) = self.carry_out(step)
        if step.allowance:
            self.allowances[index] = step.allowance
        return [index]

    def spin(self, step: SpinStep) -> list[int]:
        """Set a roller turning. By an effort it has nowhere to arrive, so no wait times it; a speed it comes to."""
        indices = self.carry_out(step)
        return indices if step.speed is not None else []

    def throw(self, step: PlaceStep, count: int) -> list[int]:
        """Elements leave a flywheel and slow it down; it comes back to the speed that it was to have."""
        name = step.thrown_by
        if name is None or count == 0:
            return []
        given = self.plant.given(name)
        command = replace(given, throws=count) if isinstance(given, Spin | SpinTo) else Spin(0.0, count)
        index = self.command(Commanded(step, name, command, f"{name} back to its speed after {count} thrown"))
        return [index] if isinstance(given, SpinTo) else []

    def by(self, step: ActStep) -> int:
        """Give the command in an acting step's `by`."""
        return self.command(self._commands[id(step)][0])

    def release(self, step: HandOverStep) -> int:
        """Have the giver of a hand over let go."""
        return self.command(self._commands[id(step)][1])

    def grip(self, step: PickStep | HandOverStep, attempt: Attempt | None = None, fails: bool = False) -> int:
        """Begin a pick or a hand over; index of its move. `fails`: chance has it that it closes on nothing."""
        now = self.plant.now_us
        met = self._check(step)
        before = self.latest.get(step.by.mechanism)
        closing = self._closing(step.by.mechanism)
        grip = Grip(step, now, self.by(step), len(self.log.picks), attempt, fails)
        self.log.picks.append(None)
        if not met:
            self._lose(grip, now, "", refused=True)
            return grip.move
        for other in closing:
            self._take_over(other, grip)
        if self.log.moves[grip.move].move.arrival_us() == now:
            self._shut_already(step, before)
            self.settle(grip)
        else:
            self.grips.append(grip)
        return grip.move

    def _closing(self, mechanism: str) -> list[Grip]:
        """Picks and hand overs for which a hand is closing."""
        return [grip for grip in self.grips if grip.step.by.mechanism == mechanism and not grip.over]

    def _send_elsewhere(self, mechanism: str, target: Target | None) -> None:
        """What a hand is closing for is lost; sent to the same place it goes on closing."""
        for grip in self._closing(mechanism):
            if target != grip.step.by.target:
                why = f"the {mechanism} was sent elsewhere before it had closed"
                self._lose(grip, self.plant.now_us, why)
        self.grips = [grip for grip in self.grips if not grip.over]

    def _take_over(self, old: Grip, new: Grip) -> None:
        """One closing takes once: of two for the same the later one; what was to take something else has lost it."""
        if old.over:
            return
        if _takes(old.step) == _takes(new.step):
            self._close(old, held_us=None, lost_us=None, outcome=TAKEN_OVER, why="")
        else:
            number = self.log.number(new.step.line)
            why = f"step {number} closed the {new.step.by.mechanism} for something else before it had closed"
            self._lose(old, self.plant.now_us, why)
        self.grips.remove(old)

    def _shut_already(self, step: PickStep | HandOverStep, before: int | None) -> None:
        """Note a hand that nothing has opened since it last closed; not where it is stated to be so."""
        hand = step.by.mechanism
        closed = before is not None and isinstance(self.log.moves[before].by, PickStep | HandOverStep)
        if closed and not any(need.mechanism == hand for need in step.needs):
            self._at_hand("shut_already", step.line, hand)

    def predict(self, grip: Grip) -> None:
        """Set the instant at which it will hold, if nothing more is commanded."""
        arrival = self.log.moves[self.latest[grip.step.by.mechanism]].move.arrival_us()
        grip.due_us = None if arrival is None else max(arrival, self.plant.now_us)

    def settle(self, grip: Grip) -> bool:
        """Its `by` has arrived for good: it holds now, unless a need was left on the way or its luck was out."""
        now = self.plant.now_us
        if grip in self.grips:
            self.grips.remove(grip)
        left = self._first_left(grip, now)
        if left is not None:
            self._lose(grip, *left)
        elif grip.fails:
            self._lose(grip, now, MISSED_BY_CHANCE, chance=True)
        elif (refused := self._take(grip.step, now)) is not None:
            self._lose(grip, now, refused)
        else:
            self._close(grip, held_us=now, lost_us=None, outcome="held", why="")
            self._load()
            return True
        return False

    def place(self, step: PlaceStep, attempt: Attempt | None = None, fails: bool = False) -> list[int]:
        """Release what is in hand at once; indices of its moves. `fails`: chance has it that it earns nothing."""
        now = self.plant.now_us
        met = self._check(step)
        index = self.by(step)
        holder, site = step.by.mechanism, self.world.sites[step.place]
        refused, keeps = fails or not met, step.otherwise in KEPT_IN_HAND
        element = site.place.takes
        held = self.hands.count(holder, element)
        wanted = held if step.count is None else min(held, step.count)
        self.log.places.append(PlaceRecord(step, now, self.log.period, wanted))
        fits = 0 if refused else site.room(wanted)
        count = self.hands.release(holder, element, fits if keeps else wanted)
        thrown = self.throw(step, count)
        if wanted == 0 and not (refused and keeps):
            self._mishap("nothing_held", step, 1)
        elif met and fails:
            self._mishap("place_missed", step, wanted)
        elif met and fits < wanted:
            self._mishap("place_full", step, wanted - fits)
        if fits:
            period = self.plan.game.period_of(self.log.period, now)
            points, bonus = self.world.deliver(step.place, fits, period, now)
            number = self.log.number(step.line)
            endgame = self.world.in_endgame(now)
            self.log.deliveries.append(
                Delivery(number, step.line, now, step.place, fits, points, bonus, period, endgame)
            )
        self._fall(step.otherwise, step.line, holder, [element] * (count - fits))
        if not fits:
            self._failed(
                step, attempt, f"step {self.log.number(step.line)} placed nothing", charged=count > 0
            )
        self._load()
        return [index, *thrown]

    def let_go(self, step: LetGoStep) -> None:
        """Everything in a hand falls."""
        self.log.number(step.line)
        self._fall("dropped", step.line, step.mechanism, self.hands.empty(step.mechanism))
        self._load()

    def _fall(self, outcome: str, line: int, hand: str, elements: list[str]) -> None:
        """Elements fall; each costs what the outcome costs."""
        now = self.plant.now_us
        for element in elements:
            self.world.fall(element, 1, now)
            points = self._charge(outcome, line, of_fall=True)
            self.log.falls.append(Fall(self.log.number(line), line, now, hand, element, outcome, points))

    def _charge(self, outcome: str, line: int, of_fall: bool = False) -> float:
        """Charge what an outcome costs; the points, 0 or negative."""
        points = -self.plan.game.penalties.get(outcome, 0.0) + 0.0
        if points:
            self._award("penalty", outcome, points, line, of_fall)
        return points

    def finish(self) -> None:
        """Write down the picks that the end of the match left open, and what counts at the end."""
        for grip in self.grips:
            self._close(grip, held_us=None, lost_us=None, outcome="", why="")
        best: dict[str, tuple[float, str]] = {}
        for name, condition in self.plan.game.at_end.items():
            if self._is_so(condition):
                group = condition.best_of or name
                best[group] = max(best.get(group, (condition.points, name)), (condition.points, name))
        for points, name in best.values():
            self._award("end", name, points, self.plan.game.at_end[name].line)

    def ready(self, step: ActStep) -> bool:
        """Whether all needs of a step are met now."""
        now = self.plant.now_us
        return all(self._is_met(need, now, need.moving) for need in step.needs)

    def _is_met(self, need: Need, now_us: int, moving: bool) -> bool:
        slower = None if moving else self.plant.slower_than(need.mechanism)
        asked = (need.mechanism, need.target, need.within, slower, now_us, need.heading_within)
        return self.plant.is_inside(*asked)

    def _is_so(self, condition: EndCondition) -> bool:
        """Whether something that counts at the end is so now."""
        needs = self.plan.at_end.get(condition.name, ())
        if condition.pose is None and not needs:
            return False
        if condition.pose is not None:
            pose = self.plant.pose()
            if hypot(pose.x - condition.pose.x, pose.y - condition.pose.y) > condition.within:
                return False
        return all(self._is_met(need, self.plant.now_us, True) for need in needs)

    def _award(self, kind: str, name: str, points: float, line: int, of_fall: bool = False) -> None:
        now = self.plant.now_us
        self.world.points += points
        period, endgame = self.plan.game.period_of(self.log.period, now), self.world.in_endgame(now)
        self.log.awards.append(Award(kind, name, line, now, points, period, endgame, of_fall))

    def _failed(self, step: ActStep, attempt: Attempt | None, why: str, charged: bool = False) -> None:
        """An acting step did not do what it was there for. What drops has cost its points where it fell."""
        if attempt is not None:
            attempt.fail(why)
        if step.otherwise != "dropped" and not charged:
            self._charge(step.otherwise, step.line)

    def _take(self, step: PickStep | HandOverStep, now_us: int) -> str | None:
        """Put what there is to take into the hand that closed; why not, where that cannot be."""
        hand = step.by.mechanism
        if isinstance(step, PickStep):
            if not self.hands.fits(hand, 1):
                return NO_ROOM
            if not self.world.supplies[step.station].take(now_us):
                return NOTHING_LEFT
            self._pile(step)
            self.hands.take(hand, [step.element])
            limit = self.plan.game.possession
            if limit is not None and self.hands.total() > limit.limit:
                self._award("penalty", "possession", -limit.penalty, step.line)
            return None
        if not self.hands.fits(hand, self.hands.count(step.giver)):
            return NO_ROOM
        given = self.hands.empty(step.giver)
        if given:
            self._pile(step)
        self.hands.take(hand, given)
        return None if given else NOTHING_LEFT

    def _pile(self, step: PickStep | HandOverStep) -> None:
        """Note a hand that takes more to what it holds, where nothing says for how many it has room."""
        hand = step.by.mechanism
        if self.hands.count(hand) and self.hands.rooms.get(hand) is None:
            self._at_hand("piled_up", step.line, hand)

    def _at_hand(self, kind: str, line: int, hand: str) -> None:
        if (kind, line) not in self.log.hands:
            found = AtHand(kind, self.log.number(line), line, self.plant.now_us, hand)
            self.log.hands[kind, line] = found

    def _check(self, step: ActStep) -> bool:
        """Check all needs of an acting step now, before its own command."""
        now = self.plant.now_us
        number = self.log.number(step.line)
        self.log.acting[step.line] = bool(step.needs)
        if self.log.told is Told.ALL:
            records = [self._need(number, step, need, now) for need in step.needs]
            self.log.needs += records
            return all(record.met for record in records)
        met = True
        for need in step.needs:
            if not self._is_met(need, now, need.moving):
                met, cause = False, self.latest.get(need.mechanism)
                self.log.needs.append(
                    NeedRecord(number, step.line, now, need, step, cause, None, None, None, False, None)
                )
        return met

    def _need(self, number: int, step: ActStep, need: Need, now_us: int) -> NeedRecord:
        plant, cause = self.plant, self.latest.get(need.mechanism)
        slower = None if need.moving else plant.slower_than(need.mechanism)
        asked = (need.mechanism, need.target, need.within, slower, now_us, need.heading_within)
        since = plant.inside_since(*asked)
        margin: int | None
        if since is not None:
            margin = now_us - since
        else:
            good = plant.inside_for_good_from(*asked)
            margin = None if good is None else now_us - good
        position = plant.position(need.mechanism)
        return NeedRecord(
            number,
            step.line,
            now_us,
            need,
            step,
            cause,
            position,
            None if isinstance(position, str) else plant.speed(need.mechanism),
            need.target if not isinstance(need.target, Pose) else self._along(need.target, cause, need.text),
            since is not None,
            margin,
        )

    def _along(self, pose: Pose, cause: int | None, text: str) -> float | str:
        """A needed pose along the drive's present line, where it is the one the drive was sent to."""
        if cause is not None:
            move = self.log.moves[cause].move
            if isinstance(move.command, DriveTo) and move.command.pose == pose:
                return move.target
        return text

    def _first_left(self, grip: Grip, now_us: int) -> tuple[int, str] | None:
        """Instant before now at which the first of its needs was left, and which."""
        first: tuple[int, str] | None = None
        for need in kept_needs(grip.step):
            left = self.plant.leaves_at(
                need.mechanism, need.target, need.within, grip.begins_us, now_us, need.heading_within
            )
            if left is not None and left < now_us and (first is None or left < first[0]):
                first = (left, f"the {need.mechanism} left {need.text}")
        return first

    def _lose(self, grip: Grip, at_us: int, why: str, refused: bool = False, chance: bool = False) -> None:
        left = None if refused or chance else self._first_left(grip, at_us)
        if left is not None:
            at_us, why = left
        step = grip.step
        self._close(grip, None, at_us, step.otherwise, why, refused)
        if isinstance(step, HandOverStep) and step.otherwise == "dropped":
            self._fall("dropped", step.line, step.giver, self.hands.empty(step.giver))
            self._load()
        self._failed(step, grip.attempt, f"step {self.log.number(step.line)} took nothing")

    def _close(
        self,
        grip: Grip,
        held_us: int | None,
        lost_us: int | None,
        outcome: str,
        why: str,
        refused: bool = False,
    ) -> None:
        grip.over = True
        step = grip.step
        self.log.picks[grip.slot] = PickRecord(
            self.log.number(step.line),
            step.line,
            step,
            grip.begins_us,
            grip.move,
            refused,
            held_us,
            lost_us,
            outcome,
            why,
        )

    def _mishap(self, kind: str, step: PlaceStep, elements: int) -> None:
        number = self.log.number(step.line)
        now = self.plant.now_us
        self.log.mishaps.append(
            Mishap(kind, number, step.line, now, step.by.mechanism, step.place, step.otherwise, elements)
        )

    def _load(self) -> None:
        """Tell the plant what each mechanism carries now."""
        loads = dict.fromkeys(self._loads, 0.0)
        for holder, hand in self.hands.held.items():
            if hand:
                mass = self.hands.mass_in(holder)
                for carrier in self._carriers.get(holder, ()):
                    loads[carrier] = loads.get(carrier, 0.0) + mass
        for carrier, mass in loads.items():
            if mass != self._loads.get(carrier, 0.0):
                self.plant.set_payload(carrier, mass)
                self.changed = True
        self._loads = loads


def kept_needs(step: ActStep) -> tuple[Need, ...]:
    """Needs that must stay met until a pick holds: all but the hand's own, which its closing leaves."""
    return tuple(need for need in step.needs if need.mechanism != step.by.mechanism)


@once_a_plan
def carriers_of(plan: Plan) -> dict[str, tuple[str, ...]]:
    """Which mechanisms carry what one holds: the one it is `on`, the one that is on, and so forth."""
    mechanisms = plan.robot.mechanisms
    found: dict[str, tuple[str, ...]] = {}
    for name in mechanisms:
        chain: list[str] = []
        carrier = mechanisms[name].values.get("on")
        while carrier is not None and carrier not in chain and carrier != name:
            chain.append(carrier)
            carrier = mechanisms[carrier].values.get("on")
        found[name] = tuple(chain)
    return found


def _takes(step: PickStep | HandOverStep) -> tuple[str, ...]:
    """What a pick or a hand over takes, and where from."""
    return (step.element, step.station) if isinstance(step, PickStep) else (step.giver,)

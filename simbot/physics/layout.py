"""Where each number stands in a run's flat state array.

One float64 array holds the whole plant: a header, the rails, the mechanisms, rotors that may turn by themselves (as
mechanisms of their own, see apart), motor groups and the segments of the travel. A copy of it is a copy of the plant.
All values SI; modes are small integers stored as floats.
"""

from __future__ import annotations

NO_VOLTS = 1e-3  # of a bus that the diodes of controllers hold; no fewer, since powers are shared by it

# --- header -------------------------------------------------------------------------------------------
T = 0  # time [s]
E = 1  # open-circuit voltage [V]
R0 = 2  # battery resistance, leads included [ohm]
TOL = 3  # relative tolerance of one step
V = 4  # bus voltage now [V]
I = 5  # battery current now [A]  # noqa: E741
CHARGE = 6  # charge taken so far [C]
ENERGY = 7  # energy taken from the terminals so far [J]
V_MIN = 8
V_MIN_AT = 9
I_MAX = 10
N_MECH = 11
N_RAIL = 12
LOOP = 13  # control period [s]
TICK = 14  # number of the last tick that has been handled
H = 15  # step to try next [s]
COLLAPSED_AT = 16  # first instant at which the bus stands at no volts [s], negative: never
STEPS = 17
EVALS = 18
DIRTY = 19  # 1: modes and first accelerations must be found anew; 2: other modes may still hold
N_LIVE = 20
WATCHING = 21  # 1: stop at the first tick at which all watched mechanisms are seen inside
LOOP_US = 22
REJECTED = 23
FRESH = 24  # 1: some mechanism has a new command whose first tick is now
IDLE_A = 25  # what mechanisms at rest ask of the bus: A V - B, and constant power
IDLE_B = 26
IDLE_P = 27
STRAIGHT = 28  # 1: until a mode changes all but loads is linear in speeds and voltage (see linear.straighten)
STRAIGHT_A = 29
STRAIGHT_B = 30
STRAIGHT_P = 31
ORDER = 12  # of the polynomials that a step consists of
VOLTS_POLY = 32  # series over a step on the linear law: voltage of the bus,
ASKED_POLY = VOLTS_POLY + ORDER  # currents that speeds give back to it,
POWER_POLY = ASKED_POLY + ORDER  # and constant power
EMF_POLY = POWER_POLY + ORDER  # open-circuit voltage less polarisation over the step under trial
VRC_POLY = EMF_POLY + ORDER  # polarisation, on the linear law
SAGS = VRC_POLY + ORDER  # 1: what follows makes E change with time
REST = SAGS + 1  # open-circuit voltage at the start [V]
FALL = SAGS + 2  # that it loses per charge taken [V/C]
R1 = SAGS + 3  # polarisation: resistance [ohm],
TAU = SAGS + 4  # time constant [s],
VRC = SAGS + 5  # voltage now [V],
VRC_END = SAGS + 6  # and at the end of the step under trial
STAGE_E = SAGS + 7  # rates of E and of the polarisation at the 7 stages [V/s]
STAGE_VRC = STAGE_E + 7
SQUARED = STAGE_VRC + 7  # integral of the battery's current squared [A² s]
WARMS = SQUARED + 1  # 1: what currents heat is integrated (some fuse, breaker or winding is watched)
PHASE_US = SQUARED + 2  # instant of tick 0 [µs]: 0, or less than a period where it is drawn
QUICK = SQUARED + 3  # 1: until a mode changes the constants below hold (see quick.quicken)
QUICK_A = SQUARED + 4  # what is asked of the bus: A V - B, less what speeds give back, and constant power
QUICK_B = SQUARED + 5
QUICK_P = SQUARED + 6
NEXT = SQUARED + 7  # instant at which something under way comes into force [s], inf: none
N_ACTING = SQUARED + 8
TOP = SQUARED + 9  # power of the last coefficients of the step under trial that are not zero
IN_SERIES = SQUARED + 10  # 1: that step is a series
FED = SQUARED + 11  # 1: a rail feeds something that moves
N_ROTOR = SQUARED + 12  # rotors that there is room for, after the mechanisms (see apart)
N_BODY = SQUARED + 13  # mechanisms and, while some rotor is apart from its load, rotors
TOLD = SQUARED + 14  # 1: currents, forces and energy are noted, for whoever reads them or for what they warm
HEADER = SQUARED + 15
LIVE = HEADER  # indices of the moving mechanisms
MAX_MECH = 48  # with rotors
ACTING = LIVE + MAX_MECH  # and of those whose control acts at ticks
RAILS = ACTING + MAX_MECH

# --- rail ---------------------------------------------------------------------------------------------
RAIL_SET = 0  # regulated voltage [V]
RAIL_LIMIT = 1  # current limit [A]
RAIL_DROP = 2  # least difference between bus and rail [V]
RAIL_EFF = 3  # efficiency of a switching regulator; 0: linear
RAIL_MODE = 4
RAIL_V = 5  # rail voltage now [V]
RAIL_A = 6  # current it is asked for = A V - B
RAIL_B = 7
RAIL_IDLE_A = 8  # the part of it that servos at rest ask for
RAIL_SIZE = 9
REGULATED, DROPOUT, LIMITED, IDLE = 0.0, 1.0, 2.0, 3.0

# --- mechanism ----------------------------------------------------------------------------------------
Q = 0  # position [m, rad]
SPEED = 1
ACC = 2
S = 3  # state of motion: -1, 0 (at rest, stuck), +1
GRP = 4  # offset of the first motor group
SEG = 5  # offset of the first segment record
# ... how it is built (see build.Arrays.write)
N_GRP = 6
N_SEG = 7
DAMP = 8  # [N s/m, N m s/rad]
VOLTS_NOMINAL = 9
GUIDE_N = 10  # cells of what changes along a curved way (see GUIDE_SHARE), 0: none;
GUIDE_ROW = 11  # its first row,
GUIDE_Q0 = 12  # where it begins,
GUIDE_PER = 13  # cells per unit of it,
GUIDE_ROUND = 14  # 1: its grip is an ellipse
Q_LO = 15
Q_HI = 16
CONTROL = 17
TARGET = 18
# ... what every command to a place sets (see orders.set_target)
TARGET_PENDING = 19
WINDOW = 20
SLOW = 21  # speed limit of the target set, inf: none
TOUCH = 22  # 0: no; -1, +1: the target is that end of the travel, reached by touching
TOUCHED = 23
DIRECTION = 24  # +1, -1: towards the target at the command
T_COMMAND = 25
Q_SCALE = 26  # what an error of position is measured by
V_SCALE = 27
OTHERS_BACK = 28  # most current that all others together gave back to the bus since the command [A]
INTEGRAL = 29
PINNED = 30  # servo resting at the edge of its dead band
LOCK = 31  # 1: a brake holds it while it is at rest
PLAY_UNTIL = 32  # its motors cross their play until then [s]: outputs reach the load no earlier,
KICK = 33  # and it begins to move with this speed
# ... what its control keeps to (see orders.Control)
EFFORT = 34  # most effort
KP = 35
KI = 36
KD = 37
LATENCY = 38
AFTER = 39  # code: 0 brake, 1 coast, 2 an effort that presses on
AFTER_EFFORT = 40
# ... its present segment (see build.Arrays.locate)
SEG_NOW = 41
FC = 42  # sliding friction [N, N m]
FS = 43  # static friction
TAB_BENDS = 44  # of the present segment (see SEG_BENDS)
MASS_NOW = 45  # of the present segment where it has no table
LOAD_NOW = 46
TAB_N = 47
TAB_ROW = 48
TAB_Q0 = 49
TAB_PER = 50  # cells per unit of travel
SEG_LO = 51
SEG_HI = 52
# ... and the rest
T_OFF = 53  # open-loop effort ends at the first tick at or after
DUTY = 54  # effort that acts now, -1..1
OPEN = 55  # 1: the motor's leads are open
SENT = 56  # last output decided
SENT_OPEN = 57
BRAKE = 58  # 1: it has a holding brake
NEW = 59  # 1: its control has yet to act for the first time
WATCH = 60
N_PENDING = 61  # outputs under way (latency): times and values
PENDING = 62  # offset of those: (time, duty, open) x MAX_PENDING, where it can have any
MAX_PENDING = 64
PROFILE_N = 63
PROFILE = 64  # offset of a profile's pieces: (t, q, v, a, jerk) x MAX_PROFILE, from the start of each
MAX_PROFILE = 16
LAG_MAX = 65
FEED = 66  # speed loop: effort that its own model asks for at the speed wanted,
FEED_SHARE = 67  # and the share of it that is used
BAND = 68  # servo
DEAD = 69
ZONE = 70  # servo: 0 dead, +-1 in the band, +-2 full
T_PENDING = 71  # a servo's new target comes into force, inf: none
CURRENT = 72  # what it takes from the bus now [A]
SQUARED_OWN = 73  # integral of the current squared that it takes from the bus [A² s]
Q_NEXT = 74
V_NEXT = 75
A_NEXT = 76
MASS_AT = 77  # effective inertia at the last evaluation
LOAD_AT = 78  # load, friction and inertia's slope at the last evaluation
STAGE_V = 79  # speeds and accelerations of the 7 stages
STAGE_A = STAGE_V + 7
OPTIMAL = STAGE_A + 7  # floor: strongest effort, +1 or -1
Q_END = OPTIMAL + 1  # state at the end of the step under trial
V_END = OPTIMAL + 2
A_END = OPTIMAL + 3
BUS_PER_SPEED = OPTIMAL + 4  # linear law: current given back per speed,
ACC_PER_VOLT = OPTIMAL + 5  # acceleration per volt of the bus,
ACC_PER_SPEED = OPTIMAL + 6  # acceleration lost per speed,
ACC_LOST = OPTIMAL + 7  # and whatever happens,
ACC_PER_WAY = OPTIMAL + 8  # acceleration lost per way
FED_BY = OPTIMAL + 9  # offset of its rail, 0: the battery
FED_DUTY = OPTIMAL + 10  # its effort there, and that effort's slope over the way
FED_SLOPE = OPTIMAL + 11
FED_EMF = OPTIMAL + 12  # voltage per speed
FED_SIEMENS = OPTIMAL + 13  # what it takes from its rail per volt
FED_SHARE = OPTIMAL + 14  # of a servo's effort on its rail
QUICK_PUSH = OPTIMAL + 15  # what its groups add up to (see quick): force per volt of the bus,
QUICK_DRAG = OPTIMAL + 16  # per speed,
QUICK_LOST = OPTIMAL + 17  # friction of its motors,
QUICK_ROTORS = OPTIMAL + 18  # inertia of rotors
QUICK_WHEELS = OPTIMAL + 19  # and wheels,
QUICK_BACK = OPTIMAL + 20  # current given back per speed,
QUICK_NOW = OPTIMAL + 21  # and acceleration per volt at the last evaluation
QUIET = OPTIMAL + 22  # 1: at rest, and its control has said what it says there
REST_V = OPTIMAL + 23  # bus voltage at which it was found stuck, and by how much that may change
REST_DV = OPTIMAL + 24
LOAD_0 = OPTIMAL + 25  # load of a table about the place where the step begins: four coefficients,
INERTIA = OPTIMAL + 29  # and the whole inertia by which they are to be divided
SQUARE = OPTIMAL + 30  # square of the way from there: ORDER coefficients
POLY = SQUARE + ORDER  # position over the share of the step under trial: ORDER + 1 coefficients
PER_Q = STAGE_V  # in a series, which has no stages: one over the scale of places,
PER_V = STAGE_V + 1  # one over that of speeds and the length of the step,
PER_INERTIA = STAGE_V + 2  # and one over the inertia
OF = POLY + ORDER + 1  # of a rotor that is apart: the mechanism it belongs to, 0: it is not,
SIDE = OF + 1  # the force that its load gets all the same: -1 the least, +1 the greatest,
FROM = OF + 2  # and of a cord: where its load was when they came apart,
FACTOR = OF + 3  # and the common factor of the ratios there
LOOSE = OF + 4  # at rest: how far its motors are from coming apart [N, N m]
MECH_SIZE = OF + 5

NO_CONTROL, FULL, POSITION, PROFILED, TIMED, SERVO, SPIN, STRONGEST = 0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0
SPEED_LOOP = 8.0

# --- motor group: n equal motors on one shaft -----------------------------------------------------------
G_N = 0
G_RATIO = 1  # motor angle per unit of travel [rad/m, rad/rad]
G_R = 2  # ohm
G_K = 3  # V s/rad = N m/A
G_TF = 4  # motor's own friction torque [N m]
G_J = 5  # rotor inertia [kg m²]
G_FWD = 6  # 1/efficiency, driving
G_BACK = 7  # back-driving efficiency (1e-12 where the gears lock and inertia would not be positive)
G_RF = 8  # bare motor: share of the torque that leaves it, driving
G_RB = 9  # bare motor: divisor when it brakes
G_SHARE = 10  # its duty as a share of the mechanism's
G_LIMIT = 11  # motor-side current limit [A]
G_LIMIT_B = 12  # battery-side current limit [A]
G_CURRENT = 13  # supply current per model current (a servo's catalogue current), 1 for motors
G_RAIL = 14  # index of its rail, -1: battery
G_LO = 15  # least force that can leave it (grip, a cord that only pulls)
G_HI = 16
G_LOCKS = 17  # 1: never driven back
G_GEAR = 18  # mode: 0 driving, 1 driven
G_BARE = 19  # mode: 0 driving, 1 braking
G_LIM = 20  # mode: 0 free, +-1 motor limit, +-2 duty pinned at +-1, +-3 battery limit
G_CAP = 21  # mode: 0 free, -1 least force, +1 greatest
G_I = 22  # current of one motor at the last evaluation
G_T = 23  # force that leaves its gears
G_TFREE = 24  # force that would reach the load without caps
G_X = 25  # torque of the group before the gears
G_IFREE = 26
G_BACK_TRUE = 27  # back-driving efficiency as the stages give it, for rest
G_WHEEL = 28  # inertia of its wheels, between the gears and what the floor gives [kg, kg m²]
G_T0 = 29  # at the begin of the step under trial: G_T
G_X0 = 30  # and G_X
G_ROTOR = 31  # record of its rotor while that is apart from the load, 0: it never is
G_APART = 32  # the same while it is, 0: they turn together
G_SQUARED = 33  # integral of the current squared of one motor [A² s]
GROUP_SIZE = 34

# --- segment of the travel ------------------------------------------------------------------------------
SEG_FROM = 0
SEG_TO = 1
SEG_MASS = 2
SEG_LOAD = 3
SEG_CELLS = 4  # 0: constant
SEG_ROW = 5
SEG_FC = 6  # sliding and static friction on it
SEG_FS = 7
SEG_CATCH = 8  # 1: once it has been entered upwards its lower end is a stop (a ratchet's tooth)
SEG_BENDS = 9  # 1: its table is more than a load: inertia or ratios change
SEG_SIZE = 10

# --- table row (one knot) -------------------------------------------------------------------------------
TAB_M, TAB_DM, TAB_DDM, TAB_Q, TAB_DQ, TAB_G, TAB_DG, TAB_DDG = 0, 1, 2, 3, 4, 5, 6, 7
TAB_COLUMNS = 8

# --- row of a curved way (one knot) -------------------------------------------------------------------
GUIDE_SHARE = 0  # share of the effort that its one group gets, and the slope of that
GUIDE_DSHARE = 1
GUIDE_A1 = (
    2  # grip: |A F + B v²| <= 1 for both pairs of rollers; an ellipse: (A1 F)² + (B1 v²)² <= 1 forwards,
)
GUIDE_B1 = 3  # with A2 backwards
GUIDE_A2 = 4
GUIDE_B2 = 5
GUIDE_RUB = 6  # friction besides that of its segment [N]
GUIDE_FASTEST = 7  # square of the speed that the code lets it have there [m²/s²]

# --- log row --------------------------------------------------------------------------------------------
# Where TOLD is 0 these are not written and hold anything: squares, charge and energy, currents, heats and forces.
LOG_T = 0
LOG_H = 1
LOG_V0 = 2
LOG_V1 = 3
LOG_I0 = 4
LOG_I1 = 5
LOG_SQUARED = 6  # integrals at the end of the step: battery's current squared [A² s],
LOG_ENERGY = 7  # energy [J]
LOG_CHARGE = 8  # and charge taken from it [C]
LOG_MECH = 9  # then for each mechanism:
LOG_Q0, LOG_SPEED0, LOG_ACC0, LOG_Q1, LOG_SPEED1, LOG_ACC1 = 0, 1, 2, 3, 4, 5
LOG_BACK = (
    6  # most that others gave back since its command [A]; of a rotor: its SIDE, 0 while it is not apart
)
LOG_AMPS0 = 7  # current of one motor of its first group at both ends [A],
LOG_AMPS1 = 8
LOG_HEATS = 9  # integral of its square at the end [A² s],
LOG_SQUARED_OWN = 10  # and of the square of what the mechanism takes from the bus
LOG_FORCE0 = 11  # force that leaves the gears of its first group at both ends while it moves [N, N m]
LOG_FORCE1 = 12
LOG_POLY = 13  # coefficients of its position over the share of the step, from the third power on
LOG_PER_MECH = LOG_POLY + ORDER - 2

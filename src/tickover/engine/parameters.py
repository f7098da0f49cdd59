"""Every number of the simulated car, with its unit and where it comes from.

The figures describe no car in particular: a four-stroke petrol engine at warm idle, in the middle of what the trade
knows. "Own choice" means tuned so that a healthy 2.0 l car idles near 750 r/min and 31 kPa with a believable spread.
Areas are geometric, at discharge coefficient ``CD``.
"""

from __future__ import annotations

from math import pi

RPM = 2 * pi / 60
"""One revolution per minute [rad/s]."""
MM2 = 1e-6
"""One square millimetre [m²]."""

# --- the clock of the model -----------------------------------------------------------------------
STEP = 0.02
"""Fixed step [s]. Own choice: an eighth of an engine cycle at idle, a ninth of the manifold's time constant."""
SLOW_EVERY = 10
"""Steps between updates of heat and battery [1]. Own choice."""

# --- surroundings ---------------------------------------------------------------------------------
AMBIENT_PRESSURE = 101_325.0
"""Outside pressure [Pa]. Standard atmosphere."""
AMBIENT_TEMPERATURE = 298.15
"""Outside air [K]. Own choice: 25 °C."""

# --- air ------------------------------------------------------------------------------------------
CD = 0.8
"""Discharge coefficient of throttle gap and leak alike [1]. From memory: 0.8 to 0.85 for a choked sharp edge."""
MANIFOLD_TEMPERATURE = 313.15
"""Air in the manifold [K]. Own choice: 40 °C."""
MANIFOLD_SHARE = 1.0
"""Manifold volume over displacement [1]. Own choice; gives the 0.18 s time constant at 700 r/min."""
CHARGE_SLOPE = 0.961
"""s in e_v p = s p + y [1]. Hendricks & Sorenson, SAE 900616 (1990), from memory."""
CHARGE_OFFSET = -7_000.0
"""y in e_v p = s p + y [Pa]. As above."""
BORE_AREA = 2_827 * MM2
"""Throttle bore of 60 mm [m²]. Own choice."""
BLADE_TRAVEL = 85 * pi / 180
"""Blade angle at full pedal [rad]. Own choice."""
BLADE_STOP = 0.10
"""Throttle sensor with the blade at its stop, as a share of supply [1]. Trade practice: 0.10 to 0.20 closed."""
BLADE_SPAN = 0.80
"""Sensor share over a quarter turn of the blade [1]. Own choice."""
BLADE_REST = 31.8 * MM2
"""Area at the blade's spring rest, motor off [m²]. Own choice, so that the sensor reads 17.6 %, above warm idle, as
real recordings show at key on."""
BLADE_LAG = 0.06
"""First-order lag of the throttle motor [s]. Own choice."""
AREA_LEAST = 1.0 * MM2
"""What the closest blade still passes [m²]. Own choice."""
IDLE_AREA_FULL = 60.0 * MM2
"""Area that reads as 100 % commanded idle air [m²]. Own choice."""

# --- torque ---------------------------------------------------------------------------------------
STOICHIOMETRIC = 14.6
"""Air to fuel, by mass [1]. Heywood 1988, from memory; CH1.87 computes to 14.604."""
HEATING_VALUE = 43.0e6
"""Lower heating value of petrol [J/kg]. Heywood 1988, from memory: 42 to 44 MJ/kg."""
IDLE_EFFICIENCY = 0.27
"""Gross indicated efficiency with the late spark of an idle [1]. Own choice; best spark about 0.37 (from memory)."""
BEST_LAMBDA = 0.95
"""λ of most torque from a given mass of air [1]. Own choice; from memory 0.88 to 0.95."""
LAMBDA_CURVE = 2.2
"""Loss of torque with the square of λ off its best [1]. Own choice: 17 % less at λ 1.23."""
EXHAUST_PRESSURE = 103_000.0
"""Mean pressure in the exhaust ports at idle [Pa]. Own choice."""
FRICTION = (72e3, 14e3, 5e3)
"""Warm rubbing friction as mean pressure [Pa]: constant, per 1,000 r/min, per its square. Own choice below the motoring
curve of Barnes-Moss (0.97, 0.15, 0.05 bar, from memory), which counts pumping too."""
COLD_FRICTION = 0.012
"""Rise of friction per kelvin below ``WARM`` [1/K]. Own choice."""
INERTIA_PER_VOLUME = 75.0
"""Crank, flywheel and clutch, per displacement [kg m²/m³]. Own choice: 0.15 kg m² for 2.0 l."""
TORQUE_LAG_CYCLES = 0.6
"""Lag from intake to torque, in cycles [1]. Own choice: half a cycle to the stroke, and its mean."""
ROUGHNESS = 0.008
"""Spread of one cycle's torque, all cylinders together, of its mean [1]. Own choice."""
DRIFT = 0.010
"""Spread of torque drifting slowly, of its mean [1]. Own choice, against recorded idles (see docs/why)."""
DRIFT_TIME = 20.0
"""Correlation time of that drift [s]. Own choice."""

# --- starting, stalling, limits -------------------------------------------------------------------
STARTER_TORQUE_PER_VOLUME = 55e3
"""Standstill torque at the crank, per displacement [N m/m³]. Own choice: 110 N m for 2.0 l."""
STARTER_FREE_SPEED = 300 * RPM
"""Speed at which the starter gives no torque [rad/s]. Own choice."""
STARTER_RELEASE = 420 * RPM
"""Speed at which the person lets the starter go: the engine runs [rad/s]. Own choice."""
STARTER_PATIENCE = 6.0
"""Longest a person cranks at once [s]. Own choice."""
SYNC_TIME = 0.4
"""Turning before the first injection [s]. Own choice: about one cycle of cranking."""
STALL_SPEED = 300 * RPM
"""Below this an engine without starter dies [rad/s]. Own choice."""
STAND_SPEED = 25 * RPM
"""Below this the crank counts as standing [rad/s]. Own choice."""
FREE_LIMIT = 4_000 * RPM
"""Fuel is cut above this speed with the car standing [rad/s]. Own choice; many controllers do so."""
OVERRUN_CUT = 1_800 * RPM
"""Pedal up above this speed: fuel cut [rad/s]. Own choice."""
OVERRUN_RESUME = 1_300 * RPM
"""… until speed falls below this [rad/s]. Own choice."""

# --- idle control ---------------------------------------------------------------------------------
AUTHORITY = 3.0 * MM2
"""Largest correction either side of learned air [m²]. The design fixes it."""
FLOOR_BELOW = 4.0 * MM2
"""Learned floor below learned air, when both are written [m²]. The design fixes it."""
LEARN_WITHIN = 60 * RPM
"""Learned air follows only while speed is this near its target [rad/s]. The design fixes it."""
LEARN_TIME = 240.0
"""Time in which learned air takes over 63 % of a standing correction [s]. Own choice: slow, as the design asks."""
LEARN_AFTER = 10.0
"""No learning until the engine has run this long [s]. Own choice."""
IDLE_P = 0.008 * MM2 / RPM
"""Proportional gain [m² s/rad]. Own choice."""
IDLE_I = 0.004 * MM2 / RPM
"""Integral gain [m²/rad]. Own choice."""
ERROR_CAP = 150 * RPM
"""Largest speed error the correction answers to [rad/s]. Own choice."""
SETTLE_TIME = 1.5
"""The integral waits this long after start or pedal release [s]. Own choice."""
PEDAL_SHUT = 0.02
"""Pedal travel that still counts as up [1]. Own choice."""
START_AIR = 5.0 * MM2
"""Extra air at the start [m²]. Own choice."""
START_AIR_TIME = 1.5
"""… which fades with this time constant [s]. Own choice."""
RELEASE_AIR = 4.0 * MM2
"""Extra air as the pedal comes up, so that the engine does not dip [m²]. Own choice."""
RELEASE_AIR_TIME = 0.5
"""… which fades with this time constant [s]. Own choice."""
COLD_SPEED = 9 * RPM
"""Rise of target speed per kelvin below ``WARM`` [rad/(s K)]. Fits a recorded cold idle: 966 r/min at 40 °C, 872 at 50,
783 at 60, 696 at 70, 650 from 75."""
COLD_SPEED_CAP = 450 * RPM
"""Largest such rise [rad/s]. Own choice."""
WARM = 348.15
"""Coolant at which the engine counts as warm [K]: 75 °C. From the same recording."""
GUARD_SPEED = 120 * RPM
"""Rise of target speed while misfire counters stand high [rad/s]. Own choice."""

# --- fuel control ---------------------------------------------------------------------------------
TRIM_LIMIT = 0.25
"""Largest short or long trim [1]. Trade practice: codes set at 20 to 25 %."""
SHORT_RATE = 0.04
"""Slope of the short trim [1/s]. Own choice: the ripple of a switching sensor is then near ± 1.5 %."""
SENSOR_BAND = 0.004
"""λ off 1 at which the sensor has fully switched [1]. Own choice."""
LONG_TIME = 24.0
"""Time in which the long trim takes over 63 % of the short trim [s]. Own choice, so that a zeroed cell is 63 % back
in 20 to 40 s."""
SENSOR_LAG = 0.08
"""λ sensor [s]. Own choice."""
GAS_RUN = 0.12
"""From exhaust port to sensor, beside one cycle [s]. Own choice."""
DELAY_MOST = 48
"""Longest transport delay kept [steps]. Own choice."""
CLOSED_AFTER = (5.0, 40.0)
"""Closed loop this long after a warm and a cold start [s]. The cold one from a recording, the other own choice."""
COLD_SENSOR = (293.15, 343.15)
"""Coolant at start that makes it a cold and a warm start [K]. Own choice."""
COLD_RICH = 0.20
"""Enrichment of a start at 20 °C, fading until warm [1]. Own choice."""
START_RICH = 0.10
"""After-start enrichment [1]. Own choice."""
START_RICH_TIME = 3.0
"""… which fades with this time constant [s]. Own choice."""
TRIM_LEARN_TEMPERATURE = 333.15
"""Long trims are learned above this coolant [K]. Own choice: 60 °C."""

# --- heat -----------------------------------------------------------------------------------------
HEAT_SHARE = 0.35
"""Share of fuel energy that reaches the coolant at idle [1]. From memory: 0.3 to 0.4."""
HEAT_CAPACITY_PER_VOLUME = 12e6
"""Engine and coolant in the small circuit, per displacement [J/(K m³)]. Own choice: 24 kJ/K for 2.0 l."""
LOSS = 15.0
"""Heat lost without radiator [W/K]. Own choice."""
RADIATOR = 6.0
"""Radiator without fan, thermostat open [W/K]. Own choice."""
RADIATOR_FAN = 150.0
"""Radiator with fan, thermostat open [W/K]. Own choice."""
THERMOSTAT = (359.15, 367.15)
"""Thermostat begins to open and is open [K]: 86 and 94 °C. Own choice."""
FAN_ON, FAN_OFF = 369.15, 362.15
"""Fan thresholds [K], by a switch of its own: 96 and 89 °C. Trade practice: on 93 to 105, off 3 to 8 lower; a
recording shows 95 and 88."""

# --- electricity ----------------------------------------------------------------------------------
BASE_LOAD = 320.0
"""Electric load while running: pump, ignition, controller, lamps off [W]. Own choice."""
FAN_LOAD = 60.0
"""Radiator fan, mean [W]. Own choice: small, so that its cycling moves the idle but little."""
ALTERNATOR_EFFICIENCY = 0.55
"""Electric over shaft power [1]. From memory."""
ALTERNATOR_CAP = 11.0
"""Largest alternator torque at the crank [N m]. Own choice."""
ALTERNATOR_FROM = 400 * RPM
"""Speed at which it begins to charge [rad/s]. Own choice."""
KEY_ON_CURRENT = 14.0
"""Drawn with ignition on and engine off [A]. Own choice."""
CRANK_CURRENT = 170.0
"""Drawn by the starter [A]. Own choice."""
ACCESSORY_CURRENT = 4.0
"""Drawn at accessory, and by a controller awake after switch-off [A]. Own choice."""
BATTERY_RESISTANCE = 0.012
"""Internal resistance at once [Ω]. Own choice."""
BATTERY_SAG = 0.018
"""Further resistance that comes in slowly [Ω]. Own choice."""
BATTERY_SAG_TIME = 25.0
"""… with this time constant [s]. Own choice: the fall seen over a minute of key on."""
BATTERY_CAPACITY = 60 * 3600.0
"""Battery charge when full [C]: 60 A h. Own choice."""
REST_VOLTS = ((0.0, 11.89), (0.25, 12.06), (0.5, 12.24), (0.75, 12.45), (1.0, 12.65))
"""Rested open-circuit volts by state of charge. BCI figures for flooded cells at 27 °C, from memory."""
REGULATOR_LAG = 0.6
"""Rise to the regulated voltage [s]. Own choice."""

# --- pedal ----------------------------------------------------------------------------------------
PEDAL_REST = 0.16078
"""Pedal sensor, track D, at rest [1]. A recorded car rests at 16.078 %."""
PEDAL_SPAN = 0.64
"""Sensor share over the whole travel [1]. Own choice."""
PEDAL_REST_TIME = 2.0
"""Ignition on, pedal untouched, until its rest is learned [s]. From memory, as the trade does it by hand."""
STOP_TIME = 10.0
"""Ignition off until the throttle has found its stop [s]. From memory, as the trade does it by hand."""

# --- loads, gear and road -------------------------------------------------------------------------
COMPRESSOR_TORQUE = 8.0
"""Compressor at the crank [N m]. Own choice; from memory a few to 15 N m at idle."""
COMPRESSOR_RAISE = 50 * RPM
"""Rise of target speed with the compressor on [rad/s]. Own choice; many controllers do so."""
DRAG_PER_VOLUME = 0.97
"""Converter drag in a drive gear, per displacement and square of speed [N m s²/m³]. Own choice: 12 N m at 750 r/min
for 2.0 l."""
GEAR_LOWER = 50 * RPM
"""Fall of target speed in a drive gear [rad/s]. Own choice; idle in gear is commonly lower."""
LOADS_FORGOTTEN = 0.3
"""Share of the air for compressor and gear that a controller sets aside with a lost memory [1]. Own choice."""
STEP_MOST = 5.0 * MM2
"""Most by which one round of rest and idle moves learned air [m²]. Own choice."""
FOOT_P = 6e-5 / RPM
"""A driver holding engine speed: pedal per speed error [s/rad]. Own choice."""
FOOT_I = 4e-5 / RPM
"""… and per speed error and time [1/rad]. Own choice."""
FOOT_MOST = 0.30
"""Largest travel used for that [1]. Own choice."""
GEARS = (8.0, 15.0, 23.0, 31.0, 40.0)
"""Road speed per 1,000 r/min in each gear [km/h]. Own choice."""
SHIFT_AT = 1.6
"""The highest gear that gives this many thousand r/min [1]. Own choice."""
LOCK_LAG = 0.2
"""The crank follows the wheels with this time constant [s]. Own choice."""
WALK = 8 / 3.6
"""Below this road speed the clutch slips and the engine is free [m/s]. Own choice."""
CREEP = 6 / 3.6
"""Road speed in a drive gear with the brake off [m/s]. Own choice."""
PULLING, COASTING, BRAKING = 1.2, 0.6, 2.0
"""Acceleration of a calm driver; slowing with the pedal up, and with the brake too [m/s²]. Own choice."""
CAR_MASS = 1400.0
"""[kg]. Own choice."""
ROLLING = 0.11
"""Rolling resistance per mass [m/s²]. From memory: coefficient 0.011."""
AIR_DRAG = 0.37
"""Drag per square of road speed [kg/m]. From memory: ½ · 1.2 · 0.3 · 2.1."""
DRIVELINE = 0.9
"""Efficiency of the driveline [1]. From memory."""
ROAD_TORQUE_PER_VOLUME = 30e3
"""Most torque that the pedal asks for on the road, per displacement [N m/m³]. Own choice, where the model holds."""
HEAT_EXPONENT = 0.7
"""Heat to the coolant follows fuel flow to this power above idle [1]. From memory: convection in the cylinder goes with
flow to 0.6 to 0.8."""
IDLE_FUEL_PER_VOLUME = 0.109
"""Fuel of a warm idle, per displacement [kg/(s m³)]. Computed: 0.218 g/s for 2.0 l at 750 r/min."""
PUMP_EXPONENT = 0.5
"""The radiator's pull follows water pump speed over idle to this power [1]. Own choice."""
PUMP_SPEED = 900 * RPM
"""Below this speed the radiator pulls as at idle [rad/s]. Own choice."""
RAM_AIR = 12.0
"""Radiator by road speed, thermostat open [W s/(K m)]. Own choice."""
HELD, CRUISE, ROLL_TO = 3000 * RPM, 80 / 3.6, 10 / 3.6
"""Engine speed held [rad/s], road speed driven and rolled down to [m/s], where an act names none. Own choice."""

# --- faults, and what they act on -----------------------------------------------------------------
BASE_DENSITY, ETHANOL_DENSITY = 745.0, 789.0
"""Petrol without ethanol, and ethanol [kg/m³]. From memory."""
ETHANOL_STOICHIOMETRIC = 9.005
"""Air to ethanol, by mass [1]. Computed from its atoms."""
PUMP_FLOW = 1.0
"""Fuel flow per displacement at which ``pump_loss`` of the rail's pressure is lost [kg/(s m³)]. Own choice: about what
the hard load of ``steady.POINTS`` burns. The loss goes with the square of the flow, as through a clogged filter."""
PUMP_LEAST = 0.04
"""Rail pressure that is left at worst [1]. Own choice."""
PULSE = 8e-3 / 1e5
"""Effective injector opening per charge pressure [s/Pa]: 8 ms for a full cylinder, 1.8 ms at idle. Own choice."""
PULSE_LEAST = 0.05
"""Share of the asked pulse that is left at worst [1]. Own choice."""
OXYGEN_SEEN = 0.6
"""Share of a missed charge's oxygen that the λ sensor sees; the rest burns on its way or on the sensor [1]. Own choice:
one dead coil of four cylinders is then answered with + 18 %, from memory 10 to 25 % before the controller gives up."""
OXYGEN_MIX = 2.0
"""The exhaust mixes missed and burnt charges with this time constant, as far as the loop can tell [s]. Own choice."""
MISFIRE_BLOCK = 1000
"""Revolutions over which missed firings are counted [1]. From memory, the standard's long block."""
SENSOR_OHMS, SENSOR_BETA = 2_000.0, 3_500.0
"""Coolant sensor: resistance at 25 °C [Ω], and its law's constant [K]. Own choice near common parts."""
CONTACT_DWELL = 6.0
"""A contact that comes and goes is drawn anew this often on average [s]. Own choice."""
BOIL = 403.15
"""Coolant gets no hotter: it boils off [K]. Own choice: 130 °C, the cap holds the pressure."""
WORN_RESISTANCE, WORN_CAPACITY = 4.0, 0.8
"""A finished battery: resistance up by this multiple, capacity down by this share [1]. Own choice."""
ROAD_PEDAL = 0.85
"""Most travel that a calm driver uses on the road [1]. Own choice."""
ROAD_LEAN = 1.15
"""Up to this λ a driver opens the throttle further to make up for a lean mixture [1]; beyond it the car goes slower.
Own choice."""
POWER_PEDAL = 0.9
"""Pedal travel from which the mixture is rich for power and the loop is open [1]. Own choice."""
POWER_RICH = 0.12
"""… by this much [1]. Own choice: λ near 0.89."""
LOAD_CELL = 0.65
"""Manifold over outside pressure from which the long trim's cell for hard load is in use [1]. Own choice."""
CLIMB_TORQUE_PER_VOLUME = 40e3
"""Torque asked for uphill, per displacement [N m/m³]. Own choice: about 84 kPa in the manifold."""
SOAK = 40.0
"""Heat stored in the hot metal beyond coolant, per heat to the coolant [s]. Own choice: hardly any rise
after an idle, 3 to 6 K after a drive."""
SOAK_RISE, SOAK_FALL = 90.0, 100.0
"""That store fills while running, and empties into the coolant at rest, with these time constants [s]. Own choice."""
LOSS_STILL = 8.0
"""Heat lost by a standing engine under a closed bonnet [W/K]. Own choice."""

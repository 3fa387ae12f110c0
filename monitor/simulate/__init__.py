"""A vehicle with known faults: blocks, and the truth about them."""

from monitor.simulate.run import Simulation, run, simulate
from monitor.simulate.scenario import Scenario

__all__ = ["Scenario", "Simulation", "run", "simulate"]

"""The invented ferry workshop that demo, trials and benchmarks work in."""

from proofbath.scenario.ferry import TEAL_82, ferry_bench, ferry_plan

__all__ = ["TEAL_82", "ferry_bench", "ferry_plan"]

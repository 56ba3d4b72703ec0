"""The invented ferry workshop that demo, trials and benchmarks work in."""

from proofbath.scenario.ferry import F82, ferry_bench, ferry_plan

__all__ = ["F82", "ferry_bench", "ferry_plan"]

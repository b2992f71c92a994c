"""Exact inference in noisy-OR networks whose causes have many states."""

from diagnose.inference.network import Finding, Network, Variable
from diagnose.inference.posterior import Posterior, posterior

__all__ = ["Finding", "Network", "Posterior", "Variable", "posterior"]

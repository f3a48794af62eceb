"""How much memory this process has had at most, for tests and benchmarks. It imports nothing that would count."""

import sys


def peak_mb() -> float:
    """The peak of this process in MB. On Linux without what the process that started it had, which is counted elsewhere."""
    if sys.platform == "linux":
        with open("/proc/self/status") as file:
            return next(int(line.split()[1]) for line in file if line.startswith("VmHWM")) / 1e3
    import resource

    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1e6 if sys.platform == "darwin" else 1e3)

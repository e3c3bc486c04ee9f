"""A check on worker processes: batches are tasks.

Of this machine they are `processes.py`. Of this or others, by Dask, `workers.py` puts them to work, each batch leaves a
part on a disk, and a check that was ended goes on; `parts.py` is what they leave, `tasks.py` what they all do.
"""

from corridor.cluster.processes import Processes, processes_for
from corridor.cluster.workers import ClusterWorkers

__all__ = ["ClusterWorkers", "Processes", "processes_for"]

"""A check on worker processes, of this machine or of others: batches are tasks, each leaves a part on a disk.

`workers.py` puts processes to work, `tasks.py` is what they do, `parts.py` what they leave.
"""

from corridor.cluster.workers import ClusterWorkers

__all__ = ["ClusterWorkers"]

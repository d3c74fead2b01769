"""One door of `concurrent.futures` for what takes long: to a Dask cluster where there is one, else to this machine."""

from api.cluster.door import ClusterDoor, ClusterLost
from api.cluster.line import RunLine

__all__ = ["ClusterDoor", "ClusterLost", "RunLine"]

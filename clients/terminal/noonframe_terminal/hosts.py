"""Which hosts are this machine and nobody else."""

import ipaddress


def is_loopback(host: str) -> bool:
    """Whether only this machine can reach a service on `host`; names other than localhost are not trusted."""
    if host.lower() == "localhost":
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False

# SPDX-License-Identifier: MIT
"""A Slurm cluster of one node in its own folder; it changes nothing under /etc and ends all its processes.

``python tests/cluster/one_node.py FOLDER`` runs one until Ctrl-C and prints the variable to export.
"""

import contextlib
import os
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

PROGRAMS = ("munged", "slurmctld", "slurmd", "sbatch", "squeue", "scancel", "scontrol", "sinfo", "srun")
_CONFIGURATION = """\
ClusterName=onenode
SlurmctldHost={host}(127.0.0.1)
SlurmctldPort={controller_port}
SlurmdPort={node_port}
SlurmUser=root
SlurmdUser=root
AuthType=auth/munge
AuthInfo=socket={folder}/munge/socket
CredType=cred/munge
StateSaveLocation={folder}/state
SlurmdSpoolDir={folder}/spool
SlurmctldPidFile={folder}/slurmctld.pid
SlurmdPidFile={folder}/slurmd.pid
ProctrackType=proctrack/linuxproc
TaskPlugin=task/none
SelectType=select/cons_tres
SelectTypeParameters=CR_CPU_Memory
JobAcctGatherType=jobacct_gather/none
AccountingStorageType=accounting_storage/none
MpiDefault=none
ReturnToService=2
SwitchType=switch/none
SchedulerType=sched/builtin
SchedulerParameters=sched_interval=1,batch_sched_delay=0,sched_min_interval=0
SlurmdTimeout=5
InactiveLimit=0
KillWait=2
MinJobAge=60
MaxArraySize=1001
NodeName={host} NodeAddr=127.0.0.1 CPUs={processors} RealMemory={memory} State=UNKNOWN
PartitionName=main Nodes={host} Default=YES MaxTime=INFINITE State=UP OverSubscribe=NO
"""


class OneNode:
    """A running cluster; a context manager that ends all processes that it has started.

    Attributes:
        folder: Folder of all files; its path must be short, since names of sockets are limited.
        name: Name of the node.
        environment: Environment variables with which commands find this cluster.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder.resolve()
        self.name = socket.gethostname().partition(".")[0]
        self.environment = {**os.environ, "SLURM_CONF": str(self.folder / "slurm.conf")}
        self._daemons: dict[str, subprocess.Popen[bytes]] = {}
        self._write()

    def __enter__(self) -> "OneNode":
        try:
            munge = self.folder / "munge"
            places = [f"--{name}-file={munge / name}" for name in ("key", "pid", "log", "seed")]
            self._start("munged", "--foreground", "--force", f"--socket={munge / 'socket'}", *places)
            wait_for((munge / "socket").exists, "munged")
            self._start("slurmctld", "-D")
            self.start_node()
        except BaseException:
            self.__exit__()
            raise
        return self

    def __exit__(self, *error: object) -> None:
        if "slurmctld" in self._daemons:
            subprocess.run(["scancel", "--user=root"], env=self.environment, capture_output=True, timeout=60)
        for name in ("slurmd", "slurmctld", "munged"):
            self._end(name, signal.SIGTERM)
        self._end_jobs()

    def start_node(self) -> None:
        """Start the daemon of the node and wait until the node accepts jobs."""
        self._start("slurmd", "-D")
        up = ("idle", "mixed", "allocated")
        wait_for(lambda: self.run_slurm("sinfo", "-h", "-o", "%T").strip() in up, "slurmd")

    def kill_node(self) -> None:
        """Kill the daemon and all jobs of the node at once, like a power failure."""
        self._end("slurmd", signal.SIGKILL)
        self._end_jobs()

    def run_slurm(self, *command: str) -> str:
        """Output of a command of Slurm."""
        done = subprocess.run(command, env=self.environment, capture_output=True, text=True, timeout=60)
        return done.stdout

    def queue(self) -> list[str]:
        """Jobs in the queue, one line per job."""
        return self.run_slurm("squeue", "-h", "-r", "-o", "%i %t %r").splitlines()

    def start_soon(self) -> None:
        """Let requeued jobs start in 3 s instead of two minutes.

        The controller needs these seconds for messages to the node about the first attempt.
        """
        wait_for(lambda: any("BeginTime" in line for line in self.queue()), "requeued jobs")
        for line in self.queue():
            if "BeginTime" in line:
                self.run_slurm("scontrol", "update", f"jobid={line.split()[0]}", "starttime=now+3")

    def wait_until_empty(self, seconds: float) -> None:
        """Wait until all jobs have ended."""
        wait_for(lambda: not self.queue(), "the end of all jobs", seconds)

    def _write(self) -> None:
        for name in ("state", "spool", "log", "munge"):
            (self.folder / name).mkdir(parents=True, exist_ok=True)
        (self.folder / "munge").chmod(0o711)
        key = self.folder / "munge" / "key"
        key.touch(mode=0o600)
        key.write_bytes(secrets.token_bytes(1024))
        controller_port, node_port = _free_ports(2)
        text = _CONFIGURATION.format(
            host=self.name,
            folder=self.folder,
            controller_port=controller_port,
            node_port=node_port,
            processors=os.cpu_count(),
            memory=os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE") // 2**20,
        )
        (self.folder / "slurm.conf").write_text(text)

    def _start(self, name: str, *options: str) -> None:
        with open(self.folder / "log" / name, "ab") as log:
            command = [name, *options]
            self._daemons[name] = subprocess.Popen(command, env=self.environment, stdout=log, stderr=log)

    def _end(self, name: str, how: int) -> None:
        daemon = self._daemons.pop(name, None)
        if daemon is None:
            return
        daemon.send_signal(how)
        try:
            daemon.wait(timeout=10)
        except subprocess.TimeoutExpired:
            daemon.kill()
            daemon.wait()

    def _end_jobs(self) -> None:
        """Kill all processes with this cluster in their environment, except daemons and their helpers."""
        mark = f"SLURM_CONF={self.folder / 'slurm.conf'}".encode()
        daemons = {daemon.pid for daemon in self._daemons.values()}
        for _ in range(20):
            marked = [pid for pid in _processes() if mark in _environment_of(pid)]
            marked += [parent for parent in map(_parent_of, marked) if _name_of(parent) == "slurmstepd"]
            found = [pid for pid in marked if pid != os.getpid() and not {pid, _parent_of(pid)} & daemons]
            if not found:
                return
            # All are stopped first, so that none can report the end of another.
            for how in (signal.SIGSTOP, signal.SIGKILL):
                for pid in found:
                    _send(pid, how)
            time.sleep(0.05)


def problems_of_this_machine() -> list[str]:
    """Why this machine cannot run such a cluster; empty if it can."""
    absent = [name for name in PROGRAMS if shutil.which(name) is None]
    found = [f"{', '.join(absent)} not found (Debian packages slurm-wlm and munge)"] if absent else []
    if os.geteuid() != 0:
        found.append("the daemon of a node must run as root")
    return found


def wait_for(condition, what: str, seconds: float = 30.0) -> None:
    """Wait until a condition holds.

    Raises:
        TimeoutError: It did not hold in time.
    """
    last = time.monotonic() + seconds
    while not condition():
        if time.monotonic() > last:
            raise TimeoutError(f"no sign of {what} after {seconds:g} s")
        time.sleep(0.1)


def _processes() -> list[int]:
    return [int(entry.name) for entry in Path("/proc").iterdir() if entry.name.isdigit()]


def _environment_of(pid: int) -> list[bytes]:
    try:
        return Path(f"/proc/{pid}/environ").read_bytes().split(b"\0")
    except OSError:
        return []


def _parent_of(pid: int) -> int:
    try:
        return int(Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[1])
    except OSError:
        return 0


def _name_of(pid: int) -> str:
    try:
        return Path(f"/proc/{pid}/comm").read_text().strip()
    except OSError:
        return ""


def _send(pid: int, how: int) -> None:
    with contextlib.suppress(ProcessLookupError):
        os.kill(pid, how)


def _free_ports(count: int) -> list[int]:
    sockets = [socket.socket() for _ in range(count)]
    for free in sockets:
        free.bind(("127.0.0.1", 0))
    ports = [free.getsockname()[1] for free in sockets]
    for free in sockets:
        free.close()
    return ports


if __name__ == "__main__":
    with OneNode(Path(sys.argv[1])) as cluster:
        print(f"export SLURM_CONF={cluster.folder / 'slurm.conf'}", flush=True)
        with contextlib.suppress(KeyboardInterrupt):
            signal.pause()

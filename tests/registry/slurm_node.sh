#!/bin/sh
# A Slurm of one node for a test, without systemd and beside any other one. usage: slurm_node.sh up|down DIR
# Then: export SLURM_CONF=DIR/slurm.conf. Needs root, munge, slurmctld, slurmd, slurm-client (Debian 12).
set -eu
what=$1
dir=$(realpath -m "$2")
if [ "$what" = down ]; then
  for daemon in slurmd slurmctld munge; do
    [ -f "$dir/$daemon.pid" ] && kill "$(cat "$dir/$daemon.pid")" 2>/dev/null || true
  done
  exit 0
fi
host=$(hostname -s)
port=$((20000 + $$ % 20000 / 2 * 2)) # another one may be up on this machine
cores=$(nproc)
mkdir -p "$dir/state" "$dir/spool" "$dir/munge"
chmod 755 "$dir"
head -c 1024 /dev/urandom > "$dir/munge/key"
chmod 711 "$dir/munge" # munged refuses folders that others may write
chmod 600 "$dir/munge/key"
munged --force --key-file="$dir/munge/key" --socket="$dir/munge/sock" --pid-file="$dir/munge.pid" \
  --log-file="$dir/munge/log" --seed-file="$dir/munge/seed"
cat > "$dir/slurm.conf" <<CONF
ClusterName=tidemark-test
SlurmctldHost=$host(127.0.0.1)
SlurmUser=root
SlurmdUser=root
SlurmctldPort=$port
SlurmdPort=$((port + 1))
AuthType=auth/munge
AuthInfo=socket=$dir/munge/sock
StateSaveLocation=$dir/state
SlurmdSpoolDir=$dir/spool
SlurmctldPidFile=$dir/slurmctld.pid
SlurmdPidFile=$dir/slurmd.pid
SlurmctldLogFile=$dir/slurmctld.log
SlurmdLogFile=$dir/slurmd.log
ProctrackType=proctrack/linuxproc
TaskPlugin=task/none
JobAcctGatherType=jobacct_gather/none
AccountingStorageType=accounting_storage/none
SelectType=select/cons_tres
SelectTypeParameters=CR_Core
ReturnToService=2
JobRequeue=1
# A machine that stalls for minutes must neither lose its only node nor have it drained.
SlurmdTimeout=0
MessageTimeout=60
KillWait=5
UnkillableStepTimeout=900
MpiDefault=none
NodeName=$host NodeAddr=127.0.0.1 CPUs=$cores Boards=1 Sockets=1 CoresPerSocket=$cores ThreadsPerCore=1 State=UNKNOWN RealMemory=4000
PartitionName=main Nodes=$host Default=YES MaxTime=INFINITE State=UP
CONF
SLURM_CONF="$dir/slurm.conf"
export SLURM_CONF
slurmctld -c -f "$SLURM_CONF"
slurmd -f "$SLURM_CONF" -N "$host"
for _ in $(seq 300); do
  sinfo -h -o %T 2> /dev/null | grep -qE 'idle|mix' && exit 0
  sleep 0.2
done
echo "Slurm did not come up; see $dir/*.log" >&2
exit 1

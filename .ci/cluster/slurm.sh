#!/usr/bin/env bash
# A batch on a real Slurm of one node: an array of 8 over 40 sites, one task killed midway and run again, gathered, and
# compared byte for byte with the batch on one machine. Needs root and Debian's slurm-wlm and munge.
set -euo pipefail
cd "$(dirname "$0")/../.."

skip() { echo "slurm: skipped: $1"; exit 0; }
[ "$(id -u)" = 0 ] || skip "not root"
if ! command -v slurmctld >/dev/null || ! command -v munged >/dev/null; then
	(apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq slurm-wlm munge) >/dev/null 2>&1 ||
		skip "slurm-wlm and munge cannot be had"
fi

work=$(mktemp -d)
stop() {
	for name in d ctld; do
		if [ -f "$work/$name.pid" ]; then kill "$(cat "$work/$name.pid")" 2>/dev/null || true; fi
	done
	[ ! -f /run/munge/munged.pid ] || kill "$(cat /run/munge/munged.pid)" 2>/dev/null || true
	rm -rf "$work"
}
trap stop EXIT

head -c 1024 /dev/urandom > /etc/munge/munge.key
mkdir -p /run/munge
chown munge: /etc/munge /etc/munge/munge.key /var/lib/munge /var/log/munge /run/munge
chmod 400 /etc/munge/munge.key
chmod 755 /run/munge
runuser -u munge -- munged --force
for _ in $(seq 50); do munge -n 2>/dev/null | unmunge >/dev/null 2>&1 && break; sleep 0.1; done
munge -n | unmunge | grep -q Success

host=$(hostname -s)
mkdir -p "$work/state" "$work/spool"
cat > /etc/slurm/slurm.conf <<-CONF
	ClusterName=ci
	SlurmctldHost=$host(127.0.0.1)
	SlurmUser=root
	SlurmdUser=root
	AuthType=auth/munge
	ProctrackType=proctrack/pgid
	TaskPlugin=task/none
	SelectType=select/cons_tres
	SelectTypeParameters=CR_Core
	StateSaveLocation=$work/state
	SlurmdSpoolDir=$work/spool
	SlurmctldPidFile=$work/ctld.pid
	SlurmdPidFile=$work/d.pid
	SlurmctldLogFile=$work/ctld.log
	SlurmdLogFile=$work/d.log
	ReturnToService=2
	NodeName=$host NodeAddr=127.0.0.1 CPUs=2 State=UNKNOWN
	PartitionName=all Nodes=$host Default=YES MaxTime=INFINITE State=UP
CONF
slurmctld
slurmd
for _ in $(seq 100); do [ "$(sinfo -h -o %T 2>/dev/null)" = idle ] && break; sleep 0.2; done
sinfo

go build -o "$work/retotal" ./cmd/retotal
go run ./.ci/cluster/sites "$work/sites" 40
export RETOTAL="$work/retotal"
options="--template $work/sites/template.toml --table $work/sites/sites.csv"
export RETOTAL_BATCH="--out $work/parts $options"

# States are what the controller says.
states() { squeue -h -a -t all -j "$1" -r -o "%i %T" | sort -V; }
job=$(sbatch --parsable --requeue --array=0-7 --output="$work/%a.log" cmd/retotal/cluster/array.sh)
third=$("$work/retotal" batch --dry-run --shard 4/8 $RETOTAL_BATCH | awk 'NR > 1 { print $1 }')
some() { for id in $third; do [ ! -f "$work/parts/state/$id.json" ] || return 0; done; return 1; }
for _ in $(seq 3000); do some && break; sleep 0.02; done
scancel --signal=KILL --full "${job}_3" || true
for _ in $(seq 600); do states "$job" | grep -Eq "RUNNING|PENDING|COMPLETING" || break; sleep 0.5; done
echo "after one task was killed:"
states "$job"
if "$work/retotal" gather -q --out "$work/parts" $options 2> "$work/missing"; then
	echo "slurm: task 3 was done before it was killed"
else
	cat "$work/missing"
fi
scontrol requeue "${job}_3"
scontrol update JobId="${job}_3" StartTime=now || true # a task that is run again waits for two minutes otherwise
for _ in $(seq 600); do states "$job" | grep -q "${job}_3 COMPLETED" && break; sleep 0.5; done
echo "after it was run again:"
states "$job"
"$work/retotal" gather -q --out "$work/parts" $options
"$work/retotal" batch -q --out "$work/whole" $options
diff -r "$work/parts" "$work/whole"
echo "slurm: an array of 8 over 40 sites, one task killed and run again, is byte for byte the batch of one machine"

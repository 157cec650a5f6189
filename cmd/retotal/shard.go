package main

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// shard is one part of a batch: Index from 0, of Count.
type shard struct{ Index, Count int }

// shardOf reads what --shard says. slurm and k8s take it from what the cluster tells a task of its array or job, and
// only when asked: a user's own array sets the same.
func shardOf(text string, environment func(string) string) (shard, error) {
	switch text {
	case "":
		return shard{0, 1}, nil
	case "slurm":
		return slurmShard(environment)
	case "k8s":
		return jobShard(environment)
	}
	k, n, found := strings.Cut(text, "/")
	part, err1 := strconv.Atoi(k)
	count, err2 := strconv.Atoi(n)
	if !found || err1 != nil || err2 != nil || part < 1 || part > count {
		return shard{}, usage{fmt.Sprintf("--shard %q is not K/N with K from 1 to N, slurm or k8s", text)}
	}
	return shard{part - 1, count}, nil
}

// numberOf is a whole number of the environment.
func numberOf(environment func(string) string, name, by string) (int, error) {
	v, err := strconv.Atoi(environment(name))
	if err != nil {
		setter := map[string]string{"slurm": "sbatch --array", "k8s": "the manifest of an indexed job"}[by]
		return 0, usage{fmt.Sprintf("--shard %s: the environment variable %s is %q, not a whole number; %s sets it", by,
			name, environment(name), setter)}
	}
	return v, nil
}

// slurmShard is the part of a task of a job array: (ID - MIN) / STEP of COUNT.
func slurmShard(environment func(string) string) (shard, error) {
	names := []string{"SLURM_ARRAY_TASK_ID", "SLURM_ARRAY_TASK_MIN", "SLURM_ARRAY_TASK_STEP", "SLURM_ARRAY_TASK_COUNT"}
	var v [4]int
	for i, name := range names {
		if i == 2 && environment(name) == "" {
			v[i] = 1
			continue
		}
		var err error
		if v[i], err = numberOf(environment, name, "slurm"); err != nil {
			return shard{}, err
		}
	}
	step := max(v[2], 1)
	s := shard{(v[0] - v[1]) / step, v[3]}
	if v[0] < v[1] || (v[0]-v[1])%step != 0 || s.Index >= s.Count {
		return shard{}, usage{fmt.Sprintf("--shard slurm: task %d of %d from %d in steps of %d is not in even steps; "+
			"give the array as 0-7 or 0-14:2, and run tasks again with the same array", v[0], v[3], v[1], step)}
	}
	return s, nil
}

// jobShard is the part of a pod of an indexed job, whose count the manifest states.
func jobShard(environment func(string) string) (shard, error) {
	index, err := numberOf(environment, "JOB_COMPLETION_INDEX", "k8s")
	if err != nil {
		return shard{}, err
	}
	count, err := numberOf(environment, "JOB_COMPLETIONS", "k8s")
	if err != nil {
		return shard{}, err
	}
	if index < 0 || index >= count {
		return shard{}, usage{fmt.Sprintf("--shard k8s: index %d is not below the count of %d; set JOB_COMPLETIONS to "+
			"completions", index, count)}
	}
	return shard{index, count}, nil
}

// assigned is the sites of a shard: the largest first, each to the shard with least, so that every node comes to the
// same without asking another.
func assigned(list []member, s shard) (mine []member) {
	if s.Count == 1 {
		return list
	}
	order := slices.Clone(list)
	slices.SortFunc(order, func(a, b member) int {
		return cmp.Or(cmp.Compare(b.size, a.size), cmp.Compare(a.id, b.id))
	})
	load := make([]int64, s.Count)
	for _, m := range order {
		least := 0
		for i := range load {
			if load[i] < load[least] {
				least = i
			}
		}
		load[least] += m.size + perSite
		if least == s.Index {
			mine = append(mine, m)
		}
	}
	return mine
}

// perSite is what a site costs beside its log, as bytes of log.
const perSite = 1 << 20

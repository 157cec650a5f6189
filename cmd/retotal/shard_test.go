package main

import (
	"fmt"
	"strings"
	"testing"
)

// TestShardOf: which part of how many a task does.
func TestShardOf(t *testing.T) {
	slurm := func(id, low, step, count string) map[string]string {
		return map[string]string{"SLURM_ARRAY_TASK_ID": id, "SLURM_ARRAY_TASK_MIN": low, "SLURM_ARRAY_TASK_STEP": step,
			"SLURM_ARRAY_TASK_COUNT": count}
	}
	job := func(index, count string) map[string]string {
		return map[string]string{"JOB_COMPLETION_INDEX": index, "JOB_COMPLETIONS": count}
	}
	for _, c := range []struct {
		text        string
		environment map[string]string
		want        shard
		refused     string
	}{
		{"", slurm("3", "0", "1", "8"), shard{0, 1}, ""}, // an array of the user's own says nothing
		{"1/1", nil, shard{0, 1}, ""}, {"8/8", nil, shard{7, 8}, ""},
		{"0/8", nil, shard{}, "K/N"}, {"9/8", nil, shard{}, "K/N"}, {"8", nil, shard{}, "K/N"},
		{"a/b", nil, shard{}, "K/N"},
		{"slurm", slurm("0", "0", "1", "8"), shard{0, 8}, ""}, {"slurm", slurm("7", "0", "1", "8"), shard{7, 8}, ""},
		{"slurm", slurm("8", "1", "1", "8"), shard{7, 8}, ""}, {"slurm", slurm("14", "0", "2", "8"), shard{7, 8}, ""},
		{"slurm", slurm("7", "0", "", "8"), shard{7, 8}, ""},
		{"slurm", slurm("3", "0", "2", "8"), shard{}, "even steps"},
		{"slurm", slurm("9", "0", "1", "4"), shard{}, "even steps"}, // of 0,3,5,9
		{"slurm", nil, shard{}, "sbatch --array sets it"},
		{"k8s", job("0", "3"), shard{0, 3}, ""}, {"k8s", job("2", "3"), shard{2, 3}, ""},
		{"k8s", job("3", "3"), shard{}, "not below the count"}, {"k8s", job("1", ""), shard{}, "manifest"},
	} {
		got, err := shardOf(c.text, func(name string) string { return c.environment[name] })
		if (err != nil) != (c.refused != "") || got != c.want ||
			err != nil && !strings.Contains(err.Error(), c.refused) {
			t.Errorf("%q %v: %v, %v", c.text, c.environment, got, err)
		}
	}
}

// TestAssigned: every site is in one shard, whatever order they are named in, and no shard has more than the lightest
// one and the largest site together.
func TestAssigned(t *testing.T) {
	var list []member
	for i := range 101 {
		list = append(list, member{id: fmt.Sprint(i), size: int64(i*i) << 12})
	}
	var other []member
	for i := range list {
		other = append(other, list[(i*37)%len(list)])
	}
	for _, count := range []int{1, 2, 7, 200} {
		seen, least, most := map[string]int{}, int64(1)<<62, int64(0)
		for k := range count {
			mine, again := assigned(list, shard{k, count}), assigned(other, shard{k, count})
			load, ids := int64(0), map[string]bool{}
			for _, m := range mine {
				seen[m.id]++
				load += m.size + perSite
				ids[m.id] = true
			}
			for _, m := range again {
				if !ids[m.id] {
					t.Errorf("%d shards: %s is elsewhere when sites are named in another order", count, m.id)
				}
			}
			least, most = min(least, load), max(most, load)
		}
		for _, m := range list {
			if seen[m.id] != 1 {
				t.Errorf("%d shards: %s is in %d of them", count, m.id, seen[m.id])
			}
		}
		if most > least+list[100].size+perSite {
			t.Errorf("%d shards: %d to %d bytes", count, least, most)
		}
	}
}

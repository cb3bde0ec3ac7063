package main

import (
	"bytes"
	"errors"
	"fmt"
	"path/filepath"

	"rowen/config"
	"rowen/ingest/packed"
	"rowen/ingest/parts"
	"rowen/report"
)

// plan is what the stages of one job agree on.
type plan struct {
	Version  string
	Fleet    string // the fleet's folder, as an absolute path
	Settings config.Settings
	Shards   int
	Register []report.Input // the register's files, which must not change before the job is done

	Set             []string // of the command line, as the rest
	Tariffs, Out    string
	Verify, Replace bool
	AcceptMissing   bool
}

func (p *plan) request() request {
	return request{out: p.Out, replace: p.Replace, verify: p.Verify, acceptMissing: p.AcceptMissing, instead: whatIf{p.Set, p.Tariffs}}
}

// mostShards is far more than any fleet needs (our choice: 100 million sites at ten
// thousand a shard).
const mostShards = 10_000

// planJob writes the plan of a job.
func planJob(work, dir string, set config.Settings, ask request, shards int) (bool, error) {
	if shards < 1 || shards > mostShards {
		return false, fmt.Errorf("%w: --shards %d must be >= 1 and <= %d", errUsage, shards, mostShards)
	}
	p := plan{Version: version, Settings: set, Shards: shards, Set: ask.instead.set, Verify: ask.verify, Replace: ask.replace, AcceptMissing: ask.acceptMissing}
	var noFleet, noTariffs, noOut error
	p.Fleet, noFleet = filepath.Abs(dir)
	p.Tariffs, noTariffs = absolute(ask.instead.tariffs)
	p.Out, noOut = absolute(ask.out)
	if err := errors.Join(noFleet, noTariffs, noOut); err != nil {
		return false, fmt.Errorf("planning the job: %w", err)
	}
	p.Settings.Workers = 0 // every stage has hands of its own
	if _, err := readRegister(p.Fleet, set, p.Tariffs); err != nil {
		return false, err
	}
	p.Register, _ = digests(p.Fleet, p.Tariffs)
	b := packed.Append(nil, &p)
	made, err := parts.Folder{Dir: work}.Write(parts.ID{Stage: stagePlan}, func() ([]byte, error) { return b, nil })
	if err != nil || made {
		return made, err
	}
	is, err := parts.Folder{Dir: work}.Read(parts.ID{Stage: stagePlan})
	if err == nil && !bytes.Equal(is, b) {
		err = fmt.Errorf("planning the job: %s holds another plan: give this one an empty work folder", work)
	}
	return false, err
}

// absolute makes a path absolute; none stays none.
func absolute(path string) (string, error) {
	if path == "" {
		return "", nil
	}
	return filepath.Abs(path)
}

// openPlan reads the plan of a work folder and holds it against the program and the
// fleet's folder.
func openPlan(work string) (*plan, parts.Folder, error) {
	folder := parts.Folder{Dir: work}
	b, err := folder.Read(parts.ID{Stage: stagePlan})
	if err != nil {
		return nil, folder, fmt.Errorf("reading the plan: %w", err)
	}
	p := &plan{}
	if _, err := packed.Take(b, p); err != nil || p.Version != version {
		return nil, folder, fmt.Errorf("reading the plan: %s was planned by another version than %s: plan the job anew", work, version)
	}
	now, _ := digests(p.Fleet, p.Tariffs)
	if changed := differing(p.Register, now); changed != "" {
		return nil, folder, fmt.Errorf("reading the plan: %s has changed since the job was planned: plan it anew in an empty work folder", changed)
	}
	folder.Key = digestOf(b)
	return p, folder, nil
}

// differing names a file that is not in both lists as it is; "": none.
func differing(a, b []report.Input) string {
	is := map[report.Input]bool{}
	for _, x := range b {
		is[x] = true
	}
	for _, x := range a {
		if !is[x] {
			return x.File
		}
		delete(is, x)
	}
	for _, x := range b {
		if is[x] {
			return x.File
		}
	}
	return ""
}

package main

import (
	"fmt"
	"io"
	"sync"
	"time"

	"github.com/schollz/progressbar/v3"

	"rowen/ingest/ledger"
)

// bar is the one line of progress on a terminal; elsewhere it is silent.
type bar struct {
	mu    sync.Mutex
	w     io.Writer // nil: silent
	stage string
	line  *progressbar.ProgressBar
}

func newBar(stderr io.Writer) *bar {
	if !isTerminal(stderr) {
		return &bar{}
	}
	return &bar{w: stderr}
}

// at gives the line of a stage, a new one where the stage is new. each is what
// is counted; empty: bytes.
func (b *bar) at(stage string, total int64, each string) *progressbar.ProgressBar {
	bytes := each == ""
	if b.stage != stage {
		if b.line != nil {
			b.line.Clear()
		}
		b.stage = stage
		options := []progressbar.Option{progressbar.OptionSetWriter(b.w), progressbar.OptionSetDescription(stage),
			progressbar.OptionThrottle(200 * time.Millisecond), progressbar.OptionShowBytes(bytes), progressbar.OptionShowCount(),
			progressbar.OptionSetWidth(20), progressbar.OptionSetPredictTime(true), progressbar.OptionClearOnFinish()}
		if !bytes {
			options = append(options, progressbar.OptionShowIts(), progressbar.OptionSetItsString(each))
		}
		b.line = progressbar.NewOptions64(total, options...)
	}
	return b.line
}

// readings shows files, rows, rate and time left of reading, and of sorting what
// was read.
func (b *bar) readings(p ledger.Progress) {
	if b.w == nil {
		return
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	var line *progressbar.ProgressBar
	if p.Stage == ledger.Reading {
		line = b.at("reading", p.Total, "")
		line.Describe(fmt.Sprintf("reading: %d of %d files, %d rows", p.FilesDone, p.FilesTotal, p.Rows))
	} else {
		line = b.at("sorting", p.Total, "group")
		line.Describe(fmt.Sprintf("sorting %d rows by site", p.Rows))
	}
	line.Set64(p.Done)
}

// site shows one more site judged.
func (b *bar) site(total int) {
	if b.w == nil {
		return
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.at("judging sites", int64(total), "site").Add(1)
}

func (b *bar) done() {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.line != nil {
		b.line.Clear()
		b.line, b.stage = nil, ""
	}
}

package report

// Final is where the folder will be.
func (f *Folder) Final() string { return f.final }

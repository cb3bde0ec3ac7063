package ledger

// File is one file of the ledger's folder, or one column of a bucket.
type File struct{ Name, Type, Says string }

// Files lists what the ledger holds, and the columns of a bucket.
func Files() []File {
	return []File{
		{manifestName, "document", "files read, with size, time, digest, mapping, counts and what was set aside; buckets with their digests; the manifest's own digest; written last"},
		{"bucket-NNNN-U.parquet", "table (Parquet)", "the readings of some sites, sorted by site, as of update U; its columns follow"},
		{"  " + sourceColumn, "int32", "the file's number in the manifest"},
		{"  " + startColumn, "timestamp[ms]", "start of the interval, UTC"},
		{"  " + stateColumn, "int32", "bits 0 to 3: production, consumption, import, export are there; 4 to 11: the reading's flags; from 12: the interval's seconds"},
		{"  production, consumption, import, export", "int64", "energy in the site's unit_milliwh (in the row group's metadata) of thousandths of a Wh; a channel that no file has is no column"},
		{rememberedName, "records", "what was found wrong with the sites' readings, each with a digest of all that it follows from; worked out again where it is missing"},
		{lockName, "lock", "held by the one that updates the ledger"},
		{readersName, "lock", "held by whoever reads it: what they read is kept until they are done"},
	}
}

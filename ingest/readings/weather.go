package readings

import "rowen/ingest"

// ReadWeather reads the weather folder of a fleet: stations.csv with hourly
// tables by station, and EPW and TMY3 files, which carry their own place.
func ReadWeather(dir string) ([]ingest.Station, []ingest.Reject, error) { return readWeather(dir) }

package headroom

// Assess finds the five ceilings of a site, the one that binds, and what the
// enabling jobs would gain.
func Assess(in Input) Result { return Result{} }

// VisitSheet lists what the crew needs for a plan at this site.
func VisitSheet(in Input, r Result, plan Plan) []List { return nil }

// DefaultOptions are the settings' defaults.
func DefaultOptions() Options { return Options{} }

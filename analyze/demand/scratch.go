package demand

// Scratch is the working memory of one worker, kept from site to site so that
// a fleet does not pass through the garbage collector. It holds nothing that
// reaches a Result. Not safe for concurrent use.
type Scratch struct{}

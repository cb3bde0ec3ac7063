// Rowen reads a solar installer's fleet once a month and ranks the customers
// for whom more modules are the right next step.
package main

import "os"

func main() {
	closedPipesAreErrors()
	collectSparingly()
	os.Exit(exitCode(execute(os.Args[1:], os.Stdout, os.Stderr), os.Stderr))
}

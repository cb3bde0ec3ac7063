package stat

import "math/rand/v2"

// Seed turns an identifier into a seed, so that a rerun of the same site draws
// the same numbers whatever the order and the number of workers.
//
//	Source: FNV-1a, 64 bits (Fowler, Noll, Vo; published), then the finaliser
//	        of splitmix64 (Steele, Lea, Flood 2014), since near ids differ by
//	        few bits under FNV alone.
func Seed(id string) uint64 {
	h := uint64(14695981039346656037)
	for i := 0; i < len(id); i++ {
		h ^= uint64(id[i])
		h *= 1099511628211
	}
	return splitmix(h)
}

// Rand is a generator for that seed.
func Rand(seed uint64) *rand.Rand {
	return rand.New(rand.NewPCG(seed, splitmix(seed+0x9e3779b97f4a7c15)))
}

func splitmix(z uint64) uint64 {
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

package readings

import "sync"

// Names numbers the sites in the order in which they are met. It is safe for
// concurrent use. The numbers depend on that order and must not reach an
// output.
type Names struct {
	mu  sync.RWMutex
	ids []string
	num map[string]int32
}

// NewNames makes an empty numbering.
func NewNames() *Names { return &Names{num: map[string]int32{}} }

// Number gives the site's number, a new one for a new site.
func (n *Names) Number(id string) int32 {
	n.mu.RLock()
	i, ok := n.num[id]
	n.mu.RUnlock()
	if ok {
		return i
	}
	n.mu.Lock()
	defer n.mu.Unlock()
	if i, ok := n.num[id]; ok {
		return i
	}
	i = int32(len(n.ids))
	n.ids = append(n.ids, id)
	n.num[id] = i
	return i
}

// IDs lists the sites by number.
func (n *Names) IDs() []string {
	n.mu.RLock()
	defer n.mu.RUnlock()
	return n.ids[:len(n.ids):len(n.ids)]
}

// idReason tells why a text is no site id; "" where it is one.
func idReason(id []byte) string {
	if len(id) == 0 {
		return "site id is blank: every row must name its site"
	}
	if len(id) > 64 {
		return "site id is longer than 64 characters"
	}
	for _, c := range id {
		if !idByte[c] {
			return "site id may hold only A-Z a-z 0-9 . _ -"
		}
	}
	return ""
}

var idByte = func() (ok [256]bool) {
	for c := range ok {
		ok[c] = c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z' || c >= '0' && c <= '9' || c == '.' || c == '_' || c == '-'
	}
	return ok
}()

// siteNumbers is one reader's own memory of the numbers, without the lock.
type siteNumbers struct {
	names *Names
	known map[string]int32
}

func (s *siteNumbers) number(id []byte) int32 {
	if i, ok := s.known[string(id)]; ok {
		return i
	}
	i := s.names.Number(string(id))
	s.known[string(id)] = i
	return i
}

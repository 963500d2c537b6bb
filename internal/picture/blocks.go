package picture

import (
	"container/list"
	"sync"
)

// A Store keeps decoded blocks while there is room, the latest used longest, of as
// many pictures as share it. Two who ask for the same block at once wait for one
// decoding.
type Store struct {
	mu    sync.Mutex
	room  int64
	used  int64
	order *list.List // of *entry, the latest used first
	by    map[blockKey]*list.Element
}

type blockKey struct {
	source *source
	block  int
}

type entry struct {
	key   blockKey
	ready chan struct{}
	block *keptBlock
	err   error
}

// NewStore makes a store with room for so many bytes.
func NewStore(room int64) *Store {
	return &Store{room: room, order: list.New(), by: map[blockKey]*list.Element{}}
}

func (b *Store) get(s *source, block int) (*keptBlock, error) {
	key := blockKey{s, block}
	b.mu.Lock()
	if e, ok := b.by[key]; ok {
		b.order.MoveToFront(e)
		b.mu.Unlock()
		held, _ := e.Value.(*entry)
		<-held.ready
		return held.block, held.err
	}
	held := &entry{key: key, ready: make(chan struct{})}
	b.by[key] = b.order.PushFront(held)
	b.mu.Unlock()

	held.block, held.err = s.decode(block)
	close(held.ready)

	b.mu.Lock()
	defer b.mu.Unlock()
	if held.err != nil { // a card that was pulled out may come back
		b.drop(key)
		return nil, held.err
	}
	b.used += held.bytes()
	for b.used > b.room && b.order.Len() > 1 {
		oldest, _ := b.order.Back().Value.(*entry)
		select {
		case <-oldest.ready:
			b.used -= oldest.bytes()
			b.drop(oldest.key)
		default: // still being decoded: it is counted when it is done
			return held.block, nil
		}
	}
	return held.block, nil
}

func (b *Store) drop(key blockKey) {
	if e, ok := b.by[key]; ok {
		b.order.Remove(e)
		delete(b.by, key)
	}
}

func (e *entry) bytes() int64 {
	if e.block == nil {
		return 64
	}
	return int64(len(e.block.samples)+len(e.block.has)) + 64
}

package inflate

import "encoding/binary"

// Adler32 is the checksum of RFC 1950, section 8.2.
func Adler32(p []byte) uint32 { return adler(1, p) }

// adler continues a checksum.
func adler(from uint32, p []byte) uint32 {
	a, b := uint64(from&0xffff), uint64(from>>16)
	const most = 4096 * stepBytes // so that no sum overflows
	for len(p) >= stepBytes {
		part := p[:min(len(p)/stepBytes*stepBytes, most)]
		p = p[len(part):]
		sum, before, weighed := byteSums(part)
		b = (b + a*uint64(len(part)) + before*stepBytes + weighed) % adlerMod
		a = (a + sum) % adlerMod
	}
	return plainAdler(uint32(b<<16|a), p)
}

// adlerMod is the largest prime below 65,536.
const adlerMod = 65521

// plainAdler continues a checksum without help of the processor.
//
// It takes eight bytes a step: the sum of a word's bytes through two words of
// 16-bit lanes and one multiplication, and the second sum from the first ones
// before each word and from the sums of each byte's column, which are weighted
// once in 256 words, before a lane could overflow.
func plainAdler(from uint32, p []byte) uint32 {
	const (
		mod   = adlerMod
		lanes = 0x00ff_00ff_00ff_00ff
		ones  = 0x0001_0001_0001_0001
		chunk = 256 * 8
	)
	a, b := uint64(from&0xffff), uint64(from>>16)
	for len(p) >= 8 {
		words := p[:min(len(p)&^7, chunk)]
		p = p[len(words):]
		var even, odd, before, sum uint64
		count := uint64(len(words)) / 8
		for ; len(words) >= 16; words = words[16:] { // two words a step
			pair := (*[16]byte)(words)
			v, w := binary.LittleEndian.Uint64(pair[:8]), binary.LittleEndian.Uint64(pair[8:])
			vlo, vhi, wlo, whi := v&lanes, v>>8&lanes, w&lanes, w>>8&lanes
			first := (vlo + vhi) * ones >> 48
			before += sum + sum + first
			even += vlo + wlo
			odd += vhi + whi
			sum += (vlo + vhi + wlo + whi) * ones >> 48
		}
		if len(words) == 8 {
			w := binary.LittleEndian.Uint64(words)
			before += sum
			even += w & lanes
			odd += w >> 8 & lanes
			sum += (w&lanes + w>>8&lanes) * ones >> 48
		}
		b += a*count*8 + before*8
		for i := range uint64(4) {
			b += even >> (16 * i) & 0xffff * (8 - 2*i)
			b += odd >> (16 * i) & 0xffff * (7 - 2*i)
		}
		a = (a + sum) % mod
		b %= mod
	}
	for _, c := range p {
		a += uint64(c)
		b += a
	}
	return uint32(b%mod<<16 | a%mod)
}

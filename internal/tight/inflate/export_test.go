package inflate

// PlainAdler is the checksum as every platform can make it.
var PlainAdler = plainAdler

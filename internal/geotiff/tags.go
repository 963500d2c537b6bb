package geotiff

// The fields of a directory that are read or written here.
const (
	tagSubfileType    = 254
	tagCols           = 256
	tagRows           = 257
	tagBits           = 258
	tagCompression    = 259
	tagPhotometric    = 262
	tagFillOrder      = 266
	tagStripOffsets   = 273
	tagBands          = 277
	tagRowsPerStrip   = 278
	tagStripCounts    = 279
	tagPlanar         = 284
	tagSoftware       = 305
	tagDateTime       = 306
	tagPredictor      = 317
	tagColorMap       = 320
	tagTileCols       = 322
	tagTileRows       = 323
	tagTileOffsets    = 324
	tagTileCounts     = 325
	tagSubDirectories = 330
	tagExtraSamples   = 338
	tagSampleFormat   = 339
	tagJPEGTables     = 347
	tagYCbCrWeights   = 529
	tagYCbCrSampling  = 530
	tagBlackWhite     = 532
	tagPixelScale     = 33550
	tagTiepoints      = 33922
	tagTransformation = 34264
	tagGeoKeys        = 34735
	tagGeoDoubles     = 34736
	tagGeoText        = 34737
	tagMetadata       = 42112
	tagNoData         = 42113
	tagRPC            = 50844
)

// Field types that are written here.
const (
	typeText   = 2
	typeShort  = 3
	typeLong   = 4
	typeDouble = 12
	typeLong8  = 16
)

// Compressions by their number in the file.
const (
	compNone       = 1
	compLZW        = 5
	compJPEG       = 7
	compDeflate    = 8
	compDeflateOld = 32946
	compPackBits   = 32773
	compZSTD       = 50000
	compWebP       = 50001
)

// compressionNames are the compressions that have a name to say to people,
// whether they are read or not.
var compressionNames = map[uint64]string{
	compNone: "none", 2: "CCITT modified Huffman", 3: "CCITT group 3 fax", 4: "CCITT group 4 fax",
	compLZW: "lzw", 6: "old-style JPEG", compJPEG: "jpeg", compDeflate: "deflate", 9: "JBIG", 10: "JBIG",
	compDeflateOld: "deflate", compPackBits: "packbits", 32766: "NeXT", 32771: "CCITT", 32809: "ThunderScan",
	34661: "JBIG", 34676: "SGI Log", 34677: "SGI Log", 34712: "JPEG 2000", 34887: "LERC", 34892: "lossy JPEG (DNG)",
	34925: "LZMA", compZSTD: "zstd", compWebP: "webp", 50002: "JPEG XL", 52546: "JPEG XL",
}

// Photometric interpretations.
const (
	photoWhiteIsZero = 0
	photoBlackIsZero = 1
	photoRGB         = 2
	photoPalette     = 3
	photoMask        = 4
	photoCMYK        = 5
	photoYCbCr       = 6
)

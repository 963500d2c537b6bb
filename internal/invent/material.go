package invent

// A spectrum is reflectance, 0 to 1, in blue, green, red, red edge and near
// infrared (about 475, 560, 668, 717 and 840 nm).
type spectrum [5]float32

// Reflectances of what a rice field is made of. All are from memory of
// ordinary field spectra, rounded; they set the stage and claim no authority.
var (
	leafDark   = spectrum{0.022, 0.062, 0.027, 0.190, 0.470} // well fed rice, closed canopy
	leafPale   = spectrum{0.032, 0.092, 0.052, 0.235, 0.420} // the same, short of nitrogen
	leafWeed   = spectrum{0.027, 0.085, 0.036, 0.225, 0.490} // grass weed, paler and taller than rice
	leafDead   = spectrum{0.062, 0.098, 0.132, 0.190, 0.270} // burnt or dead leaf
	leafLevee  = spectrum{0.032, 0.078, 0.045, 0.200, 0.390} // grass of a bank
	leafTree   = spectrum{0.018, 0.042, 0.023, 0.130, 0.360} // crown, with its own shade
	soilDry    = spectrum{0.085, 0.122, 0.162, 0.200, 0.248} // silt loam
	soilWet    = spectrum{0.042, 0.064, 0.088, 0.112, 0.140}
	waterMuddy = spectrum{0.052, 0.070, 0.066, 0.048, 0.030} // a few inches over mud
	gravel     = spectrum{0.150, 0.180, 0.205, 0.225, 0.255}
	concrete   = spectrum{0.270, 0.295, 0.310, 0.320, 0.335}
	skyGlow    = spectrum{1.00, 0.62, 0.42, 0.36, 0.28} // colour of haze, blue = 1
	shadeLight = spectrum{0.40, 0.31, 0.27, 0.25, 0.23} // light left in full shade: the sky's
)

// bandNames are the names of the spectrum's bands.
var bandNames = [5]string{"blue", "green", "red", "rededge", "nir"}

// bands returns which bands of a spectrum a sensor stores, in its order.
func (s Sensor) bands() []int {
	switch s {
	case ColorJPEGLike8:
		return []int{2, 1, 0}
	case ColorNIR8:
		return []int{2, 1, 0, 4}
	case FourBand16:
		return []int{1, 2, 3, 4}
	case FiveBandFloat:
		return []int{0, 1, 2, 3, 4}
	}
	return nil
}

// noData is the sample where a mosaic has none.
func (s Sensor) noData() float32 {
	if s == FiveBandFloat {
		return -10000
	}
	return 0
}

// sampleBytes is the size of one sample.
func (s Sensor) sampleBytes() int {
	switch s {
	case FourBand16:
		return 2
	case FiveBandFloat:
		return 4
	case ColorJPEGLike8, ColorNIR8:
		return 1
	}
	return 0
}

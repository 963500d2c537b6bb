package vector

import (
	"strings"
	"unicode/utf8"
)

// page is the characters of the bytes from 0x80 on, in the code page that a .cpg
// (or an XML declaration) names, else in that of the table's language byte; ""
// where neither is known.
func page(name string, language byte) string {
	name = strings.ToUpper(strings.TrimSpace(name))
	for _, p := range []struct{ in, characters string }{
		{"1252", page1252},
		{"8859", page1252},
		{"LATIN", page1252},
		{"1250", page1250},
		{"1251", page1251},
		{"437", page437},
		{"850", page850},
		{"852", page852},
		{"866", page866},
	} {
		if strings.Contains(name, p.in) {
			return p.characters
		}
	}
	if name != "" {
		return ""
	}
	switch language { // as dBASE and its successors number them
	case 0x01, 0x0b, 0x0d, 0x0f, 0x11, 0x15, 0x18, 0x19, 0x1b:
		return page437
	case 0x02, 0x0a, 0x0e, 0x10, 0x12, 0x14, 0x16, 0x1a, 0x1d, 0x25, 0x37:
		return page850
	case 0x1f, 0x22, 0x23, 0x40, 0x64, 0x87:
		return page852
	case 0x26, 0x65:
		return page866
	case 0x03, 0x57, 0x58, 0x59:
		return page1252
	case 0xc8:
		return page1250
	case 0xc9:
		return page1251
	}
	return ""
}

// decoder turns the bytes of a text into UTF-8: by the code page that is named,
// else as UTF-8 where it is that, else as Windows-1252.
func decoder(name string, language byte) func([]byte) string {
	characters := page(name, language)
	named := characters != ""
	if !named {
		characters = page1252
	}
	high := []rune(characters)
	return func(b []byte) string {
		if !named && utf8.Valid(b) || isASCII(b) {
			return string(b)
		}
		var s strings.Builder
		for _, c := range b {
			if c < utf8.RuneSelf {
				s.WriteByte(c)
			} else {
				s.WriteRune(high[c-utf8.RuneSelf])
			}
		}
		return s.String()
	}
}

func isASCII(b []byte) bool {
	for _, c := range b {
		if c >= utf8.RuneSelf {
			return false
		}
	}
	return true
}

// The characters of the bytes from 0x80 on. Bytes that a page leaves out stand for
// themselves.
//
// Source: the Unicode Consortium's mapping tables of the vendors' code pages.
const (
	page437  = "ÇüéâäàåçêëèïîìÄÅÉæÆôöòûùÿÖÜ¢£¥₧ƒáíóúñÑªº¿⌐¬½¼¡«»░▒▓│┤╡╢╖╕╣║╗╝╜╛┐└┴┬├─┼╞╟╚╔╩╦╠═╬╧╨╤╥╙╘╒╓╫╪┘┌█▄▌▐▀αßΓπΣσµτΦΘΩδ∞φε∩≡±≥≤⌠⌡÷≈°∙·√ⁿ²■\u00a0"
	page850  = "ÇüéâäàåçêëèïîìÄÅÉæÆôöòûùÿÖÜø£Ø×ƒáíóúñÑªº¿®¬½¼¡«»░▒▓│┤ÁÂÀ©╣║╗╝¢¥┐└┴┬├─┼ãÃ╚╔╩╦╠═╬¤ðÐÊËÈıÍÎÏ┘┌█▄¦Ì▀ÓßÔÒõÕµþÞÚÛÙýÝ¯´\u00ad±‗¾¶§÷¸°¨·¹³²■\u00a0"
	page852  = "ÇüéâäůćçłëŐőîŹÄĆÉĹĺôöĽľŚśÖÜŤťŁ×čáíóúĄąŽžĘę¬źČş«»░▒▓│┤ÁÂĚŞ╣║╗╝Żż┐└┴┬├─┼Ăă╚╔╩╦╠═╬¤đĐĎËďŇÍÎě┘┌█▄ŢŮ▀ÓßÔŃńňŠšŔÚŕŰýÝţ´\u00ad˝˛ˇ˘§÷¸°¨˙űŘř■\u00a0"
	page866  = "АБВГДЕЖЗИЙКЛМНОПРСТУФХЦЧШЩЪЫЬЭЮЯабвгдежзийклмноп░▒▓│┤╡╢╖╕╣║╗╝╜╛┐└┴┬├─┼╞╟╚╔╩╦╠═╬╧╨╤╥╙╘╒╓╫╪┘┌█▄▌▐▀рстуфхцчшщъыьэюяЁёЄєЇїЎў°∙·√№¤■\u00a0"
	page1250 = "€\u0081‚\u0083„…†‡\u0088‰Š‹ŚŤŽŹ\u0090‘’“”•–—\u0098™š›śťžź\u00a0ˇ˘Ł¤Ą¦§¨©Ş«¬\u00ad®Ż°±˛ł´µ¶·¸ąş»Ľ˝ľżŔÁÂĂÄĹĆÇČÉĘËĚÍÎĎĐŃŇÓÔŐÖ×ŘŮÚŰÜÝŢßŕáâăäĺćçčéęëěíîďđńňóôőö÷řůúűüýţ˙"
	page1251 = "ЂЃ‚ѓ„…†‡€‰Љ‹ЊЌЋЏђ‘’“”•–—\u0098™љ›њќћџ\u00a0ЎўЈ¤Ґ¦§Ё©Є«¬\u00ad®Ї°±Ііґµ¶·ё№є»јЅѕїАБВГДЕЖЗИЙКЛМНОПРСТУФХЦЧШЩЪЫЬЭЮЯабвгдежзийклмнопрстуфхцчшщъыьэюя"
	page1252 = "€\u0081‚ƒ„…†‡ˆ‰Š‹Œ\u008dŽ\u008f\u0090‘’“”•–—˜™š›œ\u009džŸ\u00a0¡¢£¤¥¦§¨©ª«¬\u00ad®¯°±²³´µ¶·¸¹º»¼½¾¿ÀÁÂÃÄÅÆÇÈÉÊËÌÍÎÏÐÑÒÓÔÕÖ×ØÙÚÛÜÝÞßàáâãäåæçèéêëìíîïðñòóôõö÷øùúûüýþÿ"
)

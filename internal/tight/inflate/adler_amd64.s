#include "textflag.h"

// The weights of a step's bytes, as words.
DATA weights<>+0(SB)/8, $0x000d000e000f0010
DATA weights<>+8(SB)/8, $0x0009000a000b000c
DATA weights<>+16(SB)/8, $0x0005000600070008
DATA weights<>+24(SB)/8, $0x0001000200030004
GLOBL weights<>(SB), RODATA|NOPTR, $32

// func sumSteps(p unsafe.Pointer, n int) (sum, before, weighed uint64)
//
// X0 holds zeros, X1 the sum of bytes in two lanes of 64 bits, X2 the sums
// before each step likewise, X3 and X8 the weighed bytes in lanes of 32 bits.
TEXT ·sumSteps(SB), NOSPLIT, $0-40
	MOVQ  p+0(FP), SI
	MOVQ  n+8(FP), CX
	PXOR  X0, X0
	PXOR  X1, X1
	PXOR  X2, X2
	PXOR  X3, X3
	PXOR  X8, X8
	MOVOU weights<>+0(SB), X6
	MOVOU weights<>+16(SB), X7
	TESTQ CX, CX
	JLE   done

step:
	MOVOU     (SI), X4
	PADDQ     X1, X2
	MOVO      X4, X5
	PUNPCKLBW X0, X5
	PMADDWL   X6, X5
	PADDL     X5, X3
	MOVO      X4, X9
	PUNPCKHBW X0, X9
	PMADDWL   X7, X9
	PADDL     X9, X8
	PSADBW    X0, X4
	PADDQ     X4, X1
	ADDQ      $16, SI
	DECQ      CX
	JNZ       step

done:
	PADDL     X8, X3
	PSHUFD    $0x4e, X1, X4
	PADDQ     X4, X1
	MOVQ      X1, AX
	MOVQ      AX, sum+16(FP)
	PSHUFD    $0x4e, X2, X4
	PADDQ     X4, X2
	MOVQ      X2, AX
	MOVQ      AX, before+24(FP)
	PSHUFD    $0x4e, X3, X4
	PADDL     X4, X3
	PSHUFD    $0x39, X3, X4
	PADDL     X4, X3
	MOVL      X3, AX
	MOVQ      AX, weighed+32(FP)
	RET

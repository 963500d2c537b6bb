#include "textflag.h"

DATA middles<>+0(SB)/8, $0x8000800080008000
DATA middles<>+8(SB)/8, $0x8000800080008000
GLOBL middles<>(SB), RODATA|NOPTR, $16
DATA ones<>+0(SB)/8, $0x0001000100010001
DATA ones<>+8(SB)/8, $0x0001000100010001
GLOBL ones<>(SB), RODATA|NOPTR, $16

// Fields of row.
#define PX 0
#define PIXELS 8
#define RUNS 16
#define NRUNS 24
#define CELLS 32
#define NCELLS 40
#define EMPTY 48
#define LOGS 56
#define OVER 64
#define UNDER 72
#define LOW 80
#define VOID 88
#define HASVOID 96

// What all functions keep where:
//
//	SI pixel, DI run, R8 runs left, R9 row, R10 logs, R11 and R12 bytes from
//	the start of a pixel to its two samples, R13 low, R14 void
//	BX cell, DX bins of up to 14 pixels, four bits each, R15 end of these
//	X0 zeros, X1 middles, X2 ones, X3 the last pixel twice
//	X8 sums, X9 and X10 sums of squares, of a run
//	stack: end of the run, pixels without data, cell's number
#define START \
	MOVQ  r+0(FP), R9; \
	MOVQ  PX(R9), SI; \
	MOVQ  RUNS(R9), DI; \
	MOVQ  NRUNS(R9), R8; \
	MOVQ  LOGS(R9), R10; \
	MOVQ  OVER(R9), R11; \
	MOVQ  UNDER(R9), R12; \
	MOVQ  LOW(R9), R13; \
	MOVQ  VOID(R9), R14; \
	MOVOU middles<>(SB), X1; \
	MOVOU ones<>(SB), X2; \
	PXOR  X0, X0; \
	PXOR  X3, X3

// NEXT takes the next run: its end into R15, its cell's number into AX.
#define NEXT \
	MOVQ (DI), AX; \
	CMPQ AX, PIXELS(R9); \
	JHI  bad; \
	MOVQ PX(R9), R15; \
	LEAQ (R15)(AX*8), R15; \
	CMPQ R15, SI; \
	JCS  bad; \
	MOVQ 8(DI), AX; \
	ADDQ $16, DI; \
	DECQ R8

// OPEN begins to sum into cell AX up to R15.
#define OPEN \
	CMPQ AX, NCELLS(R9); \
	JCC  bad; \
	MOVQ R15, end-8(SP); \
	MOVQ $0, without-16(SP); \
	MOVQ AX, number-24(SP); \
	SHLQ $6, AX; \
	MOVQ CELLS(R9), BX; \
	ADDQ AX, BX; \
	PXOR X8, X8; \
	PXOR X9, X9; \
	PXOR X10, X10

// STRETCH puts the end of the next up to 14 pixels into R15.
#define STRETCH \
	XORL    DX, DX; \
	LEAQ    112(SI), AX; \
	MOVQ    end-8(SP), R15; \
	CMPQ    AX, R15; \
	CMOVQCS AX, R15

// SUM sums the two pixels in X4, less the middle.
#define SUM \
	MOVO      X4, X5; \
	PSRLDQ    $8, X5; \
	PUNPCKLWL X5, X4; \
	MOVO      X4, X6; \
	PMADDWL   X2, X6; \
	PMADDWL   X4, X4; \
	PADDL     X6, X8; \
	MOVO      X4, X7; \
	PUNPCKLLQ X0, X4; \
	PUNPCKHLQ X0, X7; \
	PADDQ     X4, X9; \
	PADDQ     X7, X10

// LOG puts the whole number of bins from the lower edge, maybe negative, of
// the pixel at off into AX.
#define LOG(off) \
	MOVWLZX off(SI)(R11*1), AX; \
	MOVWLZX off(SI)(R12*1), CX; \
	MOVL    (R10)(AX*4), AX; \
	SUBL    (R10)(CX*4), AX; \
	SUBL    R13, AX; \
	SARL    $16, AX

// COUNT counts bin AX.
#define COUNT \
	LEAL (AX*4), CX; \
	MOVL $1, AX; \
	SHLQ CX, AX; \
	ADDQ AX, DX

// CLAMP puts AX, which is outside, onto the first or the last bin.
#define CLAMP \
	SARL $31, AX; \
	NOTL AX; \
	ANDL $15, AX

// FLUSH adds the bins to the cell.
#define FLUSH \
	MOVQ $0x0f0f0f0f0f0f0f0f, CX; \
	MOVQ DX, AX; \
	ANDQ CX, AX; \
	ADDQ AX, 48(BX); \
	SHRQ $4, DX; \
	ANDQ CX, DX; \
	ADDQ DX, 56(BX)

// CLOSE adds the sums of the run to the cell.
#define CLOSE \
	MOVOU (BX), X4; \
	PADDL X8, X4; \
	MOVOU X4, (BX); \
	MOVOU 16(BX), X4; \
	PADDQ X9, X4; \
	MOVOU X4, 16(BX); \
	MOVOU 32(BX), X4; \
	PADDQ X10, X4; \
	MOVOU X4, 32(BX); \
	MOVQ  without-16(SP), AX; \
	TESTQ AX, AX; \
	JNE   holes

// HOLES counts the pixels without data.
#define HOLES \
	MOVQ number-24(SP), CX; \
	MOVQ EMPTY(R9), DX; \
	ADDL AX, (DX)(CX*4)

// UNDO turns the two differences in X4 into pixels, stores them, and keeps
// the second one.
#define UNDO \
	MOVO   X4, X5; \
	PSLLDQ $8, X5; \
	PADDW  X5, X4; \
	PADDW  X3, X4; \
	MOVOU  X4, (SI); \
	PSHUFD $0xee, X4, X3

// UNDO1 is UNDO for the one difference in X4.
#define UNDO1 \
	PADDW  X3, X4; \
	MOVQ   X4, (SI); \
	PSHUFD $0x44, X4, X3

// KEEP leaves pixels as they are.
#define KEEP

// SKIP passes over pixels.
#define SKIP \
	MOVQ R15, SI

// SKIP1 undoes the differences that it passes over.
#define SKIP1 \
off1: \
	CMPQ SI, R15; \
	JCC  run; \
	MOVQ (SI), X4; \
	UNDO1; \
	ADDQ $8, SI; \
	JMP  off1

// ROW is the whole of a function: PAIR and ONE make pixels of the two or the one
// in X4, OFF passes over those of a run up to R15 that no cell takes.
#define ROW(PAIR, ONE, OFF) \
	START; \
run: \
	TESTQ R8, R8; \
	JEQ   done; \
	NEXT; \
	TESTQ AX, AX; \
	JLT   off; \
	OPEN; \
stretch: \
	STRETCH; \
	JMP pairs; \
pair: \
	MOVOU (SI), X4; \
	PAIR; \
	PXOR  X1, X4; \
	SUM; \
	CMPQ  (SI), R14; \
	JEQ   void0; \
some0: \
	LOG(0); \
	CMPL AX, $15; \
	JHI  clamp0; \
bin0: \
	COUNT; \
next0: \
	CMPQ 8(SI), R14; \
	JEQ  void1; \
some1: \
	LOG(8); \
	CMPL AX, $15; \
	JHI  clamp1; \
bin1: \
	COUNT; \
next1: \
	ADDQ $16, SI; \
pairs: \
	LEAQ 16(SI), AX; \
	CMPQ AX, R15; \
	JLS  pair; \
	CMPQ SI, R15; \
	JCC  flush; \
	MOVQ (SI), X4; \
	ONE; \
	PXOR X1, X4; \
	MOVQ X4, X4; \
	SUM; \
	CMPQ (SI), R14; \
	JEQ  void2; \
some2: \
	LOG(0); \
	CMPL AX, $15; \
	JHI  clamp2; \
bin2: \
	COUNT; \
next2: \
	ADDQ $8, SI; \
flush: \
	FLUSH; \
	CMPQ SI, end-8(SP); \
	JCS  stretch; \
	CLOSE; \
	JMP  run; \
off: \
	OFF; \
	JMP run; \
holes: \
	HOLES; \
	JMP run; \
clamp0: \
	CLAMP; \
	JMP bin0; \
clamp1: \
	CLAMP; \
	JMP bin1; \
clamp2: \
	CLAMP; \
	JMP bin2; \
void0: \
	CMPQ HASVOID(R9), $0; \
	JEQ  some0; \
	INCQ without-16(SP); \
	JMP  next0; \
void1: \
	CMPQ HASVOID(R9), $0; \
	JEQ  some1; \
	INCQ without-16(SP); \
	JMP  next1; \
void2: \
	CMPQ HASVOID(R9), $0; \
	JEQ  some2; \
	INCQ without-16(SP); \
	JMP  next2; \
done: \
	MOVB $1, ret+8(FP); \
	RET; \
bad: \
	MOVB $0, ret+8(FP); \
	RET

// func addRow(r *row) bool
TEXT ·addRow(SB), NOSPLIT, $24-9
	ROW(KEEP, KEEP, SKIP)

// func addRowOfDifferences(r *row) bool
TEXT ·addRowOfDifferences(SB), NOSPLIT, $24-9
	ROW(UNDO, UNDO1, SKIP1)

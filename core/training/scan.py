"""`net.scan` on a GPU, each state and its gradient in one pass over the frames."""

import torch
import triton
import triton.language as tl

WIDTH = 128  # states that one program keeps


@triton.jit
def forth(keep, add, out, rows, width, WIDTH: tl.constexpr):
    column = tl.program_id(1) * WIDTH + tl.arange(0, WIDTH)
    inside = column < width
    at = tl.program_id(0).to(tl.int64) * rows * width + column
    state = tl.zeros((WIDTH,), tl.float32)
    for _ in range(rows):
        state = tl.load(keep + at, inside, 0.0) * state + tl.load(add + at, inside, 0.0)
        tl.store(out + at, state, inside)
        at += width


@triton.jit
def back(keep, out, given, to_keep, to_add, rows, width, WIDTH: tl.constexpr):
    column = tl.program_id(1) * WIDTH + tl.arange(0, WIDTH)
    inside = column < width
    at = tl.program_id(0).to(tl.int64) * rows * width + column + (rows - 1) * width
    state = tl.zeros((WIDTH,), tl.float32)
    for i in range(rows):
        state += tl.load(given + at, inside, 0.0)
        before = tl.load(out + at - width, inside & (i < rows - 1), 0.0)
        tl.store(to_add + at, state, inside)
        tl.store(to_keep + at, state * before, inside)
        state *= tl.load(keep + at, inside, 0.0)
        at -= width


class Scan(torch.autograd.Function):
    @staticmethod
    def forward(ctx, keep, add):
        keep, add = keep.contiguous(), add.contiguous()
        batch, rows, width = keep.shape
        out = torch.empty_like(add)
        forth[(batch, triton.cdiv(width, WIDTH))](keep, add, out, rows, width, WIDTH=WIDTH)
        ctx.save_for_backward(keep, out)
        return out

    @staticmethod
    def backward(ctx, given):
        keep, out = ctx.saved_tensors
        batch, rows, width = keep.shape
        to_keep, to_add = torch.empty_like(keep), torch.empty_like(keep)
        back[(batch, triton.cdiv(width, WIDTH))](
            keep, out, given.contiguous(), to_keep, to_add, rows, width, WIDTH=WIDTH
        )  # fmt: skip
        return to_keep, to_add

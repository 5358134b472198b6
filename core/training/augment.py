"""Augmentation of waveforms in batches on the device, and the log-mel of features.py in PyTorch."""

import math

import torch
from features import ACTIVE_RANGE, CLAMP, FFT, HOP, PRIOR_FRAMES, RATE, SCALE, WINDOW, mel_filters
from torch.nn import functional as F

WARPS = [0.84 + 0.02 * i for i in range(17)]  # 0.84 … 1.16


class Front:
    """log_mel and normalise of features.py for a batch of equally long recordings."""

    def __init__(self, spectrum, device):
        self.spectrum = torch.tensor(spectrum, dtype=torch.float32, device=device)
        self.window = torch.hann_window(WINDOW, periodic=True, device=device)
        self.filters = torch.stack([torch.tensor(mel_filters(w), dtype=torch.float32) for w in WARPS]).to(device)
        self.plain = WARPS.index(min(WARPS, key=lambda w: abs(w - 1.0)))

    def log_mel(self, x, warp=None):
        frames = -(-x.shape[1] // HOP)
        left = WINDOW // 2 - HOP // 2
        x = F.pad(x, (left, frames * HOP + WINDOW - left - x.shape[1]))
        power = torch.fft.rfft(x.unfold(1, WINDOW, HOP)[:, :frames] * self.window, FFT).abs() ** 2
        if warp is None:
            warp = torch.full((len(x),), self.plain, device=x.device)
        return torch.log(torch.clamp(torch.bmm(power, self.filters[warp]), min=1e-10))

    def normalise(self, values):
        """(batch, frames, 40) to (batch, 40, frames)."""
        energy = values.exp().sum(2).double()
        level = torch.log((energy**2).sum(1) / energy.sum(1)).float()[:, None]
        active = (torch.log(energy) > level - ACTIVE_RANGE)[:, :, None].float()
        mean = ((values * active).sum(1) + PRIOR_FRAMES * (level + self.spectrum)) / (active.sum(1) + PRIOR_FRAMES)
        return (torch.clamp(values - mean[:, None], -CLAMP, CLAMP) * SCALE).transpose(1, 2)


def uniform(shape, low, high, device):
    return low + (high - low) * torch.rand(shape, device=device)


def chance(batch, p, device):
    return (torch.rand(batch, 1, device=device) < p).float()


def curves(batch, bins, knots, spread, device):
    """Smooth random gain curves over frequency, in dB, with standard deviation `spread` at each knot."""
    points = torch.randn(batch, 1, knots, device=device) * spread
    return F.interpolate(points, size=bins, mode="linear", align_corners=True)[:, 0]


def decibels(d):
    return 10.0 ** (d / 20.0)


def room(x, hz, device):
    """Frequency response for each item: equaliser, microphone band, telephone band, and a small room's echo."""
    batch, bins = len(x), len(hz)
    tilt = uniform((batch, 1), -4, 4, device) * torch.log2(hz[None].clamp(min=50) / 1000) / 3
    gain = curves(batch, bins, 12, 3.0, device) + tilt
    # Cheap microphones: 4th-order slopes at random corners.
    low = torch.where(torch.rand(batch, 1, device=device) < 0.5, uniform((batch, 1), 40, 300, device), 20.0)
    high = torch.where(torch.rand(batch, 1, device=device) < 0.3, uniform((batch, 1), 3500, 7800, device), 9000.0)
    phone = torch.rand(batch, 1, device=device) < 0.12
    low, high = torch.where(phone, 300.0, low), torch.where(phone, 3400.0, high)
    order = torch.where(phone, 16.0, 4.0)
    response = decibels(gain) / torch.sqrt(1 + (low / hz[None].clamp(min=1)) ** order) / torch.sqrt(1 + (hz[None] / high) ** order)
    # Room: exponentially decaying noise after the direct sound.
    length = int(0.45 * RATE)
    time = torch.arange(length, device=device) / RATE
    decay = torch.exp(-6.9 * time[None] / uniform((batch, 1), 0.08, 0.6, device))
    tail = torch.randn(batch, length, device=device) * decay * (time > 0.002)
    tail = tail / tail.norm(dim=1, keepdim=True) * decibels(-uniform((batch, 1), 0, 18, device)) * chance(batch, 0.45, device)
    tail[:, 0] = 1.0
    return response, tail


def corrupt(x, generator_device=None):
    """(batch, samples) clean speech in −1..1 to what a microphone in a room might have recorded."""
    device = x.device
    batch, n = x.shape
    size = 1 << math.ceil(math.log2(n + int(0.45 * RATE)))
    hz = torch.fft.rfftfreq(size, 1 / RATE).to(device)
    response, tail = room(x, hz, device)
    x = torch.fft.irfft(torch.fft.rfft(x, size) * response * torch.fft.rfft(tail, size), size)[:, :n]
    power = (x**2).mean(1, keepdim=True).clamp(min=1e-9)
    # Noise of random colour, breathing in level; now and then another speaker, now and then hum.
    colour = decibels(curves(batch, len(hz), 10, 6.0, device) - uniform((batch, 1), -1, 6, device) * torch.log2(hz[None].clamp(min=60) / 1000))
    noise = torch.fft.irfft(torch.fft.rfft(torch.randn(batch, n, device=device), size) * colour, size)[:, :n]
    noise = noise * decibels(F.interpolate(torch.randn(batch, 1, 8, device=device) * 3, size=n, mode="linear")[:, 0])
    noise = noise / noise.pow(2).mean(1, keepdim=True).sqrt().clamp(min=1e-9)
    level = power.sqrt() * decibels(-uniform((batch, 1), 5, 45, device)) * chance(batch, 0.8, device)
    babble = x.roll(1, 0) / power.roll(1, 0).sqrt() * power.sqrt() * decibels(-uniform((batch, 1), 10, 25, device))
    time = torch.arange(n, device=device) / RATE
    base = torch.where(torch.rand(batch, 1, device=device) < 0.5, 50.0, 60.0)
    hum = sum(torch.sin(2 * math.pi * base * k * time[None] + k) / k for k in (1, 2, 3, 5))
    hum = hum * power.sqrt() * decibels(-uniform((batch, 1), 10, 35, device)) * chance(batch, 0.08, device)
    x = x + noise * level + babble * chance(batch, 0.1, device) + hum
    # Overdriven input, then the gain of the recording, then 16-bit steps.
    peak = x.abs().amax(1, keepdim=True).clamp(min=1e-6)
    over = torch.where(torch.rand(batch, 1, device=device) < 0.06, uniform((batch, 1), 0.25, 0.7, device), 1.0)
    x = torch.minimum(torch.maximum(x, -peak * over), peak * over) / peak
    x = x * decibels(-uniform((batch, 1), 0, 36, device))
    return torch.round(x * 32768) / 32768


def mask(values):
    """SpecAugment: two stretches of bands and two of time set to the mean."""
    batch, bands, frames = values.shape
    device = values.device
    keep = torch.ones_like(values)
    for axis, size, widest in ((1, bands, 6), (1, bands, 6), (2, frames, 9), (2, frames, 9)):
        width = torch.randint(0, widest + 1, (batch, 1), device=device)
        start = (torch.rand(batch, 1, device=device) * (size - width)).long()
        at = torch.arange(size, device=device)[None]
        hidden = (at >= start) & (at < start + width)
        keep = keep * (~hidden[:, :, None] if axis == 1 else ~hidden[:, None, :]).float()
    return values * keep

"""From linear light to a phone's JPEG: lens, noise, denoising, tone with halos, sharpening, EXIF."""
import io
import math
import os

import cv2
import numpy as np
from scipy.ndimage import gaussian_filter1d, map_coordinates


def impulses(lin):
    """Pixels that stand out of all their neighbours come down to the second of them: what few samples leave behind."""
    out = lin.copy()
    for c in range(3):
        p = lin[..., c]
        k = np.ones((3, 3), np.uint8); k[1, 1] = 0
        out[..., c] = np.minimum(p, cv2.dilate(p, k) * 1.02)
    return out


def pinhole(cam, xd, yd):
    """Normalised coordinates without distortion of those with it."""
    x, y = xd.copy(), yd.copy()
    for _ in range(8):
        r2 = x * x + y * y
        d = 1 + cam["k1"] * r2 + cam["k2"] * r2 * r2
        x, y = (xd - 2 * cam["p1"] * x * y - cam["p2"] * (r2 + 2 * x * x)) / d, (yd - cam["p1"] * (r2 + 2 * y * y) - 2 * cam["p2"] * x * y) / d
    return x, y


def margin(cam):
    """Pixels to trace beyond each side of the picture, for the lens and its centre."""
    w, h, n = cam["width"], cam["height"], 41
    u = np.r_[np.linspace(0, w - 1, n), np.linspace(0, w - 1, n), np.zeros(n), np.full(n, w - 1)]
    v = np.r_[np.zeros(n), np.full(n, h - 1), np.linspace(0, h - 1, n), np.linspace(0, h - 1, n)]
    x, y = pinhole(cam, (u - cam["cx"]) / cam["f"], (v - cam["cy"]) / cam["f"])
    return int(max(np.abs(x * cam["f"]).max() - (w - 1) / 2, np.abs(y * cam["f"]).max() - (h - 1) / 2, 0)) + 5


def lens(lin, cam, margin):
    """Resamples the pinhole picture as the lens distorts it; cubic splines with exact weights."""
    w, h = cam["width"], cam["height"]
    out = np.empty((h, w, 3), np.float32)
    ud = (np.arange(w) - cam["cx"]) / cam["f"]
    W, H = w + 2 * margin, h + 2 * margin
    for j in range(0, h, 256):
        xd, yd = np.meshgrid(ud, (np.arange(j, min(j + 256, h)) - cam["cy"]) / cam["f"])
        x, y = pinhole(cam, xd, yd)
        at = np.stack([y * cam["f"] + (H - 1) / 2, x * cam["f"] + (W - 1) / 2])
        top = max(int(at[0].min()) - 3, 0)
        part = lin[top:int(at[0].max()) + 5]
        at[0] -= top
        for c in range(3): out[j:j + xd.shape[0], :, c] = map_coordinates(part[..., c], at, order=1 if min(part.shape[:2]) < 8 else 3, mode="nearest", prefilter=True)
    return np.maximum(out, 0)


def motion(lin, length, degrees):
    n = int(length) | 1
    k = np.zeros((n, n), np.float32)
    c, a = n // 2, math.radians(degrees)
    cv2.line(k, (int(c - c * math.cos(a)), int(c - c * math.sin(a))), (int(c + c * math.cos(a)), int(c + c * math.sin(a))), 1., 1, cv2.LINE_AA)
    return cv2.filter2D(lin, -1, k / k.sum())


def luma(p): return p @ np.array([.2126, .7152, .0722], np.float32)


def develop(lin, P):
    """Linear light (h, w, 3) to 8 bit sRGB."""
    r = np.random.default_rng(P["seed"])
    h, w = lin.shape[:2]
    for c, k in ((0, 1 + P["colour_shift"]), (2, 1 - P["colour_shift"])):           # red and blue focus a little differently
        m = np.array([[k, 0, (1 - k) * (w - 1) / 2], [0, k, (1 - k) * (h - 1) / 2]])
        lin[..., c] = cv2.warpAffine(lin[..., c], m, (w, h), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    lin = cv2.GaussianBlur(lin, (0, 0), P["blur"])
    if P["motion"][0] > 1: lin = motion(lin, *P["motion"])
    lin = np.maximum(lin, 0)
    Y = luma(lin[::8, ::8])
    gain = min(.19 / (np.exp(np.mean(np.log(Y + 1e-4))) + 1e-5), .95 / (np.percentile(Y, 99.) + 1e-5) * 1.5) * 2 ** P["exposure"]
    yy, xx = np.ogrid[:h, :w]
    fall = 1 - P["vignette"] * (((xx - w / 2) ** 2 + (yy - h / 2) ** 2) / (w * w / 4 + h * h / 4)).astype(np.float32)
    lin = lin * fall[..., None] * np.array([gain * v for v in P["wb"]], np.float32)
    # sensor: shot and read noise, one sample of colour a pixel, so colour noise is coarser than luminance noise
    sd = P["noise"] * np.sqrt(np.maximum(lin, 0) * 1.1e-4 + 3e-7)
    g = r.standard_normal(lin.shape, dtype=np.float32)
    grey = g.mean(2, keepdims=True) * 1.3
    colour = cv2.GaussianBlur(g, (0, 0), 1.5) * 2.2
    lin = np.clip(lin + sd * (.8 * grey + .45 * colour), 0, None)
    # highlights saturate softly; then tone by a local base, whose blur leaves halos
    lin = np.minimum(lin, 1.6)
    Y = luma(lin) + 1e-4
    log = np.log(Y)
    small = cv2.resize(log, (max(w // 8, 1), max(h // 8, 1)), interpolation=cv2.INTER_AREA)
    base = cv2.resize(cv2.GaussianBlur(small, (0, 0), .012 * w / 8 + .5), (w, h), interpolation=cv2.INTER_LINEAR)
    tone = np.exp(-P["hdr"] * .55 * (base - math.log(.19)))
    lin = lin * tone[..., None]
    e = P["contrast"]
    x = lin * (1 + .35 * lin) / (1 + lin * lin * .62 + .28 * lin)                 # shoulder
    s = np.where(x < .0031308, 12.92 * x, 1.055 * np.power(np.maximum(x, 1e-6), 1 / 2.4) - .055)
    s = .45 + (s - .45) * e
    g = luma(s)[..., None]
    s = g + (s - g) * P["saturation"]
    if P["denoise"] > 0:                                                           # smooths what is flat, keeps what is not
        soft = cv2.bilateralFilter(s.astype(np.float32), 5, .045, 1.6)
        s = s + P["denoise"] * (soft - s)
    if P["sharpen"] > 0 and P["blur"] < 3:
        L = luma(s)
        d = L - cv2.GaussianBlur(L, (0, 0), P["radius"])
        s = s + (P["sharpen"] * np.clip(d, -.16, .16))[..., None]
    return (np.clip(s, 0, 1) * 255 + .5).astype(np.uint8)


def upright(img, orientation):
    return {1: img, 3: img[::-1, ::-1], 6: np.rot90(img, -1), 8: np.rot90(img, 1)}[orientation]


def jpeg(img, s):
    """Bytes of the photo: the sensor's picture with its EXIF, or upright without, as a messenger leaves it."""
    import piexif
    from PIL import Image
    c, P = s["camera"], s["phone"]
    kw = {}
    if P["exif"]:
        f35 = c["f"] * 43.2666 / math.hypot(c["width"], c["height"])              # by the diagonal, as the standard for 35 mm equivalents says
        when = "2026:%02d:%02d %02d:%02d:%02d" % (4 + s["seed"] % 6, 1 + s["seed"] % 27, 7 + s["seed"] % 11, s["seed"] % 60, s["seed"] % 59)
        z = {piexif.ImageIFD.Make: b"Scene", piexif.ImageIFD.Model: f"Handset {c['phone']}".encode(), piexif.ImageIFD.Orientation: c["orientation"]}
        e = {piexif.ExifIFD.DateTimeOriginal: when.encode(), piexif.ExifIFD.OffsetTimeOriginal: b"-06:00", piexif.ExifIFD.FocalLength: (int(round(f35 * 1000 / 6.4)), 1000),
             piexif.ExifIFD.FocalLengthIn35mmFilm: int(round(f35)), piexif.ExifIFD.PixelXDimension: c["width"], piexif.ExifIFD.PixelYDimension: c["height"]}
        g = {}
        if P["gps"]: g = {piexif.GPSIFD.GPSLatitudeRef: b"N", piexif.GPSIFD.GPSLatitude: ((38, 1), (s["seed"] % 60, 1), (0, 1)), piexif.GPSIFD.GPSLongitudeRef: b"W", piexif.GPSIFD.GPSLongitude: ((99, 1), (20, 1), (0, 1))}
        kw["exif"] = piexif.dump({"0th": z, "Exif": e, "GPS": g})
    else: img = upright(img, c["orientation"])
    buf = io.BytesIO()
    Image.fromarray(np.ascontiguousarray(img)).save(buf, "JPEG", quality=P["quality"], subsampling=2, **kw)
    return buf.getvalue()


def write(path, data):
    """Whole or not at all."""
    part = f"{path}.{os.getpid()}.part"
    with open(part, "wb") as fh: fh.write(data if isinstance(data, bytes) else data.encode())
    os.replace(part, path)

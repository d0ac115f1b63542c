"""Files become pictures: every kind, the right way up, with honest claims and plain refusals."""

from __future__ import annotations

import hashlib
import io
import struct
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image, ImageOps

from app.picture.load import ACCEPTED_SUFFIXES, open_picture
from keycore.refusal import Refusal

DATA = Path(__file__).parent / "data"


def _colours(width: int = 40, height: int = 24, seed: int = 1) -> np.ndarray:
    return np.random.default_rng(seed).integers(0, 256, (height, width, 3), dtype=np.uint8)


def _file(image: Image.Image, kind: str, **options: object) -> bytes:
    stream = io.BytesIO()
    image.save(stream, kind, **options)
    return stream.getvalue()


def _refused(source: object, **options: object) -> Refusal:
    with pytest.raises(Refusal) as caught:
        open_picture(source, **options)  # type: ignore[arg-type]
    sentence = caught.value.sentence
    assert sentence.endswith(".") and "\n" not in sentence
    assert "Traceback" not in sentence and "Error" not in sentence
    return caught.value


@pytest.mark.parametrize("kind", ["PNG", "TIFF", "BMP", "WEBP"])
def test_a_lossless_file_gives_back_its_own_pixels(kind: str) -> None:
    """Colour files come back bit for bit, read-only, with the hash of the file's bytes."""
    pixels = _colours()
    options = {"lossless": True, "exact": True} if kind == "WEBP" else {}
    data = _file(Image.fromarray(pixels), kind, **options)
    picture = open_picture(data, name="a." + kind.lower())
    assert np.array_equal(picture.rgb, pixels)
    assert picture.sha256 == hashlib.sha256(data).hexdigest()
    assert not picture.rgb.flags.writeable
    assert picture.size == (40, 24)


@pytest.mark.parametrize("kind", ["PNG", "TIFF", "BMP", "GIF"])
def test_a_grey_file_stays_grey(kind: str) -> None:
    """Grey files come back as rows and columns, bit for bit (a grey palette too)."""
    grey = _colours()[..., 0]
    picture = open_picture(_file(Image.fromarray(grey), kind))
    assert picture.rgb.shape == (24, 40)
    assert np.array_equal(picture.rgb, grey)


def test_equal_channels_become_grey_and_one_coloured_pixel_keeps_colour() -> None:
    """A colour file without colour is grey; a single pixel of colour anywhere keeps three channels."""
    grey = _colours()[..., 0]
    rgb = np.repeat(grey[..., None], 3, axis=2)
    assert open_picture(_file(Image.fromarray(rgb), "PNG")).rgb.ndim == 2
    rgb[17, 31, 2] ^= 1
    assert open_picture(_file(Image.fromarray(rgb), "PNG")).rgb.ndim == 3


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP"])
def test_the_orientation_tag_is_applied_once(kind: str, orientation: int) -> None:
    """All eight orientations of every kind agree with Pillow's own transposition, and the turn is said."""
    image = Image.fromarray(_colours())
    exif = Image.Exif()
    exif[0x0112] = orientation
    options: dict[str, object] = {"exif": exif} | ({"lossless": True} if kind == "WEBP" else {})
    data = _file(image, kind, **options)
    expected = np.asarray(ImageOps.exif_transpose(Image.open(io.BytesIO(data))).convert("RGB"))
    picture = open_picture(data)
    assert np.array_equal(picture.rgb, expected)
    assert bool(picture.turned) == (orientation != 1)


def test_the_dpi_claim_turns_with_the_picture() -> None:
    """A claim of 600 x 300 dpi becomes 300 x 600 when the picture is turned by a quarter."""
    exif = Image.Exif()
    exif[0x0112] = 6
    picture = open_picture(_file(Image.fromarray(_colours()), "JPEG", exif=exif, dpi=(600, 300)))
    assert picture.dpi == pytest.approx((300, 600))


@pytest.mark.parametrize(
    ("options", "expected"),
    [
        ({}, None),
        ({"dpi": (300, 300)}, (300, 300)),
        ({"exif": {0x011A: 240.0, 0x011B: 240.0, 0x0128: 2}}, (240, 240)),
        ({"exif": {0x011A: 100.0, 0x011B: 100.0, 0x0128: 3}}, (254, 254)),
        ({"exif": {0x010F: "camera without a claim"}}, None),
        ({"dpi": (72, 72), "exif": {0x011A: 300.0, 0x011B: 300.0, 0x0128: 2}}, (300, 300)),
        ({"dpi": (200, 200), "exif": {0x011A: 72.0, 0x011B: 72.0, 0x0128: 2}}, (200, 200)),
    ],
)
def test_a_jpeg_claims_what_it_says_and_nothing_else(options: dict, expected: tuple | None) -> None:
    """JFIF density, EXIF in inches and centimetres, both, and neither; no invented 72."""
    if "exif" in options:
        exif = Image.Exif()
        exif.update(options["exif"])
        options = options | {"exif": exif}
    claim = open_picture(_file(Image.fromarray(_colours()), "JPEG", **options)).dpi
    assert claim == (None if expected is None else pytest.approx(expected))


def test_sixteen_bits_become_eight_over_the_full_range() -> None:
    """Grey 16-bit PNG and TIFF: 0 is 0, 65535 is 255, and the middle is rounded."""
    values = np.linspace(0, 65535, 40 * 24).astype(np.uint16).reshape(24, 40)
    expected = np.rint(values / 257).astype(np.uint8)
    for kind in ("PNG", "TIFF"):
        assert np.array_equal(open_picture(_file(Image.fromarray(values), kind)).rgb, expected)


def test_twelve_bits_stored_in_sixteen_are_not_black() -> None:
    """Where no value is above 4095 the file holds twelve bits, and 4095 is white."""
    values = np.linspace(0, 4095, 40 * 24).astype(np.uint16).reshape(24, 40)
    picture = open_picture(_file(Image.fromarray(values), "TIFF"))
    assert picture.rgb[0, 0] == 0 and picture.rgb[-1, -1] == 255


@pytest.mark.parametrize("order", ["<", ">"])
def test_sixteen_bit_tiffs_by_another_writer(order: str) -> None:
    """Files by tifffile in both byte orders, grey and colour; colour is within one level."""
    values = np.random.default_rng(3).integers(0, 65536, (24, 40, 3), dtype=np.uint16)
    for pixels, photometric in ((values[..., 0], "minisblack"), (values, "rgb")):
        stream = io.BytesIO()
        tifffile.imwrite(stream, pixels, photometric=photometric, byteorder=order)
        got = open_picture(stream.getvalue()).rgb.astype(int)
        assert np.abs(got - pixels / 257).max() <= 1


def test_white_is_zero_tiffs_are_not_negatives() -> None:
    """Eight and sixteen bits stored with 0 as white come out with white as 255."""
    for bits in (8, 16):
        top = 2**bits - 1
        values = np.linspace(0, top, 40 * 24).astype(f"uint{bits}").reshape(24, 40)
        stream = io.BytesIO()
        tifffile.imwrite(stream, values, photometric="miniswhite")
        picture = open_picture(stream.getvalue())
        assert picture.rgb[0, 0] == 255 and picture.rgb[-1, -1] == 0


def test_a_page_of_a_tiff_can_be_chosen() -> None:
    """Three pages of different sizes; a fourth is refused with the number there is."""
    pages = [Image.fromarray(_colours(30 + n, 20 + n, n)) for n in range(3)]
    data = _file(pages[0], "TIFF", save_all=True, append_images=pages[1:])
    for number in (1, 2, 3):
        picture = open_picture(data, page=number)
        assert np.array_equal(picture.rgb, np.asarray(pages[number - 1]))
        assert (picture.page, picture.pages) == (number, 3)
    refusal = _refused(data, name="fax.tif", page=4)
    assert refusal.sentence == '"fax.tif" has 3 pages, so page 4 cannot be opened; choose a page from 1 to 3.'
    assert _refused(data, page=0).code == "picture.page"


def test_one_bit_pictures_are_black_and_white() -> None:
    """A bilevel PNG and a Group 4 fax page hold 0 and 255 only."""
    bits = Image.fromarray(_colours()[..., 0] > 128)
    for kind, options in (("PNG", {}), ("TIFF", {"compression": "group4"})):
        rgb = open_picture(_file(bits, kind, **options)).rgb
        assert np.array_equal(rgb, np.asarray(bits).astype(np.uint8) * 255)


def test_white_lies_behind_what_is_transparent() -> None:
    """Full transparency is white, half transparency half way, in colour, grey and palette."""
    rgba = np.zeros((24, 40, 4), np.uint8)
    rgba[:, 10:, 0] = 200
    rgba[:, 20:, 3] = 255
    rgba[:, 30:, 3] = 128
    rgb = open_picture(_file(Image.fromarray(rgba), "PNG")).rgb
    assert rgb[0, 0].tolist() == rgb[0, 15].tolist() == [255, 255, 255]
    assert rgb[0, 25].tolist() == [200, 0, 0]
    assert rgb[0, 35].tolist() == [227, 127, 127]
    la = np.stack([np.zeros((24, 40), np.uint8), rgba[..., 3]], axis=2)
    grey = open_picture(_file(Image.fromarray(la, "LA"), "PNG")).rgb
    assert grey.ndim == 2 and grey[0, 0] == 255 and grey[0, 25] == 0 and grey[0, 35] == 127
    palette = Image.new("P", (40, 24), 1)
    palette.putpalette([255, 0, 0, 0, 0, 255])
    palette.paste(0, (0, 0, 20, 24))
    shown = open_picture(_file(palette, "PNG", transparency=1)).rgb
    assert shown[0, 5].tolist() == [255, 0, 0] and shown[0, 30].tolist() == [255, 255, 255]


def test_cmyk_keeps_paper_white_and_ink_dark() -> None:
    """A CMYK JPEG and TIFF: no ink is white, full black is black."""
    cmyk = Image.new("CMYK", (48, 32), (0, 0, 0, 0))
    cmyk.paste((0, 0, 0, 255), (24, 0, 48, 32))
    for kind in ("JPEG", "TIFF"):
        rgb = open_picture(_file(cmyk, kind)).rgb
        assert rgb[5, 5].min() > 250 and rgb[5, 40].max() < 5


def test_a_heic_is_turned_by_its_own_boxes_only() -> None:
    """Squares.heic plain, with its EXIF tag (not to be obeyed), and with a rotation box in all four turns."""
    plain = open_picture(DATA / "squares.heic")
    red, blue = (220, 20, 20), (20, 20, 200)
    assert plain.size == (96, 48) and plain.turned == ""
    assert np.abs(plain.rgb[12, 16].astype(int) - red).max() < 12
    assert np.abs(plain.rgb[38, 82].astype(int) - blue).max() < 12
    tagged = open_picture(DATA / "squares-exif-6.heic")
    assert tagged.size == (96, 48) and tagged.turned == ""
    for quarters, words in enumerate(("", "turned a quarter to the left", "turned half round",
                                      "turned a quarter to the right")):  # fmt: skip
        turned = open_picture(_with_rotation_box((DATA / "squares.heic").read_bytes(), quarters), name="t.heic")
        assert np.array_equal(turned.rgb, np.rot90(plain.rgb, quarters))
        assert turned.turned == words


def _with_rotation_box(heic: bytes, quarters_left: int) -> bytes:
    """The same file with an ``irot`` box for its primary item (the last in ``ipma``); offsets moved to match."""
    box = struct.pack(">I4sB", 9, b"irot", quarters_left)
    data = bytearray(heic)
    places = {kind: data.index(kind) - 4 for kind in (b"meta", b"iprp", b"ipco", b"ipma", b"iloc")}

    def grow(kind: bytes, by: int) -> None:
        (size,) = struct.unpack_from(">I", data, places[kind])
        struct.pack_into(">I", data, places[kind], size + by)

    (offset,) = struct.unpack_from(">I", data, places[b"iloc"] + 22)
    struct.pack_into(">I", data, places[b"iloc"] + 22, offset + 10)
    assert data[places[b"ipma"] + 23] == 2  # properties of the last item
    data[places[b"ipma"] + 23] = 3
    for kind, by in ((b"meta", 10), (b"iprp", 10), (b"ipco", 9), (b"ipma", 1)):
        grow(kind, by)
    end_of_ipma = places[b"ipma"] + struct.unpack_from(">I", data, places[b"ipma"])[0] - 1
    data[end_of_ipma:end_of_ipma] = b"\x85"
    data[places[b"ipma"] : places[b"ipma"]] = box
    return bytes(data)


def test_missing_folder_empty_and_foreign_files_are_refused(tmp_path: Path) -> None:
    """Each fault has its own sentence with the file's name."""
    assert _refused(tmp_path / "no.png").code == "picture.missing"
    assert _refused(tmp_path).code == "picture.folder"
    (tmp_path / "empty.png").write_bytes(b"")
    assert _refused(tmp_path / "empty.png").code == "picture.empty-file"
    (tmp_path / "letter.png").write_text("Dear sir")
    refusal = _refused(tmp_path / "letter.png")
    assert refusal.code == "picture.unknown-kind" and '"letter.png"' in refusal.sentence
    (tmp_path / "shot.nef").write_bytes(b"II*\0" + bytes(100))
    assert _refused(tmp_path / "shot.nef").code == "picture.raw"


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "TIFF", "BMP", "WEBP", "GIF"])
@pytest.mark.parametrize("kept", [0.1, 0.5, 0.9])
def test_a_broken_off_file_is_refused(kind: str, kept: float) -> None:
    """A file cut short anywhere never opens as if it were whole."""
    data = _file(Image.fromarray(_colours(120, 90)), kind)
    assert _refused(data[: int(len(data) * kept)], name="x").code == "picture.damaged"


def test_a_broken_off_heic_is_refused() -> None:
    """HEIC too, in the header and in the picture's data."""
    data = (DATA / "squares.heic").read_bytes()
    for kept in (40, len(data) // 2, len(data) - 40):
        assert _refused(data[:kept], name="x.heic").code == "picture.damaged"


def test_random_damage_never_escapes_as_anything_but_a_refusal() -> None:
    """Bytes changed at random give a picture or a Refusal, nothing else."""
    rng = np.random.default_rng(8)
    for kind in ("PNG", "JPEG", "TIFF", "BMP", "WEBP", "GIF"):
        data = _file(Image.fromarray(_colours(60, 50)), kind)
        for _ in range(25):
            damaged = bytearray(data)
            for place in rng.integers(4, len(data), 6):
                damaged[place] = rng.integers(256)
            try:
                open_picture(bytes(damaged), max_pixels=1_000_000)
            except Refusal:
                pass


def test_too_many_and_too_few_pixels_are_refused() -> None:
    """The guard is per call; the sentence gives the size and what to do."""
    data = _file(Image.new("L", (400, 300)), "PNG")
    refusal = _refused(data, name="big.png", max_pixels=100_000)
    assert refusal.code == "picture.too-large" and "400 x 300" in refusal.sentence
    assert open_picture(data, max_pixels=120_000).size == (400, 300)
    assert _refused(_file(Image.new("L", (1, 1)), "PNG")).code == "picture.too-small"


def test_a_bomb_is_refused_before_it_unpacks() -> None:
    """A 30000 x 30000 PNG of a few kilobytes is refused by its header; Pillow's own guard stays as it was."""
    guard = Image.MAX_IMAGE_PIXELS
    header = _file(Image.new("1", (16, 16)), "PNG")
    bomb = bytearray(header)
    struct.pack_into(">II", bomb, 16, 30000, 30000)
    import zlib

    struct.pack_into(">I", bomb, 29, zlib.crc32(bytes(bomb[12:29])))
    assert _refused(bytes(bomb)).code == "picture.too-large"
    assert guard == Image.MAX_IMAGE_PIXELS


def test_every_accepted_suffix_has_its_kind_tested() -> None:
    """The list shown in file dialogs names the kinds above and no other."""
    assert set(ACCEPTED_SUFFIXES) == {
        ".png", ".jpg", ".jpeg", ".tif", ".tiff", ".bmp", ".webp", ".gif", ".pdf", ".heic", ".heif",
    }  # fmt: skip


def test_names_come_from_the_file_and_never_hold_a_path(tmp_path: Path) -> None:
    """A path gives its last part, bytes give "pasted picture", a given name wins."""
    data = _file(Image.fromarray(_colours()), "PNG")
    (tmp_path / "a key.png").write_bytes(data)
    assert open_picture(tmp_path / "a key.png").name == "a key.png"
    assert open_picture(str(tmp_path / "a key.png")).name == "a key.png"
    assert open_picture(data).name == "pasted picture"
    assert open_picture(data, name="b.png").name == "b.png"

"""Photographs: only their pixels are kept, for those who see the visit, whole or in parts."""

import base64
import hashlib
import struct
import zlib
from datetime import timedelta
from io import BytesIO
from uuid import uuid4

import pytest
from django.core.files.storage import default_storage
from django.utils import timezone
from PIL import Image

from common.problems import Problem
from fleet.models import SiteContact
from tests.factories import UserFactory
from tests.visits.bodies import closed, visit_body
from visits.models import Photograph, PhotographPart
from visits.photographs.picture import LONGEST_EDGE_PX, MAX_BYTES, picture_of, small_of
from visits.photographs.ranges import digest_of, part_of
from visits.photographs.service import ABANDONED_AFTER, PER_VISIT, parts_clear

GPS, ORIENTATION, GPS_LATITUDE = 0x8825, 0x0112, 2


def picture(size=(64, 48), form="JPEG", **more) -> bytes:
    target = BytesIO()
    Image.linear_gradient("L").resize(size).convert("RGB").save(target, form, **more)
    return target.getvalue()


def with_position() -> bytes:
    """A picture lying on its side that says where it was taken, with a comment and a maker's name."""
    exif = Image.Exif()
    exif[ORIENTATION] = 6
    exif[0x010F] = "A maker of telephones"
    exif.get_ifd(GPS)[GPS_LATITUDE] = (54.0, 58.0, 12.0)
    return picture(exif=exif, comment=b"secret comment")


def claims(width: int, height: int) -> bytes:
    """A PNG that claims a size which it does not hold: it would unfold to gigabytes."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"")) + chunk(b"IEND", b"")
    )


def test_position_and_every_other_tag_are_gone_and_the_picture_stands_upright() -> None:
    sent = with_position()
    assert Image.open(BytesIO(sent)).getexif().get_ifd(GPS)[GPS_LATITUDE] == (54.0, 58.0, 12.0)
    kept = picture_of(sent)
    held = Image.open(BytesIO(kept.data))
    assert dict(held.getexif()) == {}
    assert {"exif", "comment", "icc_profile", "xmp"}.isdisjoint(held.info)
    assert (held.format, held.size) == ("JPEG", (48, 64)) == ("JPEG", (kept.width_px, kept.height_px))
    for secret in (b"secret", b"telephones", b"Exif"):
        assert secret in sent
        assert secret not in kept.data


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
def test_a_large_picture_is_kept_small_enough_to_look_at(form) -> None:
    kept = picture_of(picture((3000, 1000), form))
    assert (kept.width_px, kept.height_px) == (LONGEST_EDGE_PX, pytest.approx(853, abs=1))


def test_what_is_hung_behind_a_picture_does_not_come_with_it() -> None:
    archive = b"PK\x03\x04" + b"<script>alert(1)</script>" * 20
    kept = picture_of(picture() + archive)
    assert b"script" not in kept.data
    assert b"PK\x03\x04" not in kept.data


def test_what_is_transparent_becomes_white() -> None:
    target = BytesIO()
    Image.new("RGBA", (8, 8), (0, 0, 0, 0)).save(target, "PNG")
    held = Image.open(BytesIO(picture_of(target.getvalue()).data))
    assert held.getpixel((4, 4)) == (255, 255, 255)


def other(form: str) -> bytes:
    target = BytesIO()
    Image.new("L", (8, 8)).save(target, form)
    return target.getvalue()


@pytest.mark.parametrize(
    ("sent", "code"),
    [
        (b"%PDF-1.7 of a flue", "not_a_photograph"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "not_a_photograph"),
        (other("GIF"), "not_a_photograph"),
        (other("TIFF"), "not_a_photograph"),
        (picture()[:-200], "not_a_photograph"),
        (picture(form="PNG")[:90], "not_a_photograph"),
        (claims(200, 200), "not_a_photograph"),
        (claims(9000, 9000), "too_many_pixels"),
        (claims(60_000, 60_000), "too_many_pixels"),
    ],
)
def test_what_is_no_photograph_or_would_unfold_too_far_is_refused(sent, code) -> None:
    with pytest.raises(Problem) as refusal:
        picture_of(sent)
    assert refusal.value.code == code


@pytest.mark.parametrize(
    "header",
    [
        "bytes 0-9/5",
        "bytes 5-4/9",
        "bytes 0-3/9",
        "bytes */9",
        "items 0-4/9",
        "bytes 0-4/*",
        "bytes -1-3/9",
        "",
    ],
)
def test_a_range_that_is_not_the_body_that_came_is_refused(header) -> None:
    """RFC 9110, 14.4: invalid where the last position is before the first or not below the whole length."""
    with pytest.raises(Problem, match="Content-Range"):
        part_of(header, 5)


def test_ranges_and_digests_are_read_as_the_standards_write_them() -> None:
    """RFC 9110, 14.4, «The first 500 bytes: bytes 0-499/1234»; RFC 9530, B.1, the digest of its example."""
    part = part_of("bytes 0-499/1234", 500)
    assert (part.start, part.end, part.total, part.is_whole) == (0, 500, 1234, False)
    assert part_of(None, 7).is_whole
    example = b'{"hello": "world"}\n'
    header = "sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=:"
    assert digest_of(header) == hashlib.sha256(example).hexdigest()
    assert digest_of(None) == ""
    with pytest.raises(Problem):
        digest_of("sha-512=:AAAA:")


def digest(sent: bytes) -> str:
    return f"sha-256=:{base64.b64encode(hashlib.sha256(sent).digest()).decode()}:"


class Camera:
    """A device that sends photographs of one visit."""

    def __init__(self, scene) -> None:
        self.scene = scene
        scene.put(visit_body(scene.appliance))

    def address(self, key) -> str:
        return f"{self.scene.address}photographs/{key}/"

    def put(self, key, data, *, query="", kind="image/jpeg", api=None, **headers):
        headers = {"Repr-Digest": headers.pop("digest", None) or digest(data), **headers}
        return (api or self.scene.api).put(
            self.address(key) + query, data, content_type=kind, headers=headers
        )  # fmt: skip

    def part(self, key, sent, start, end, **more):
        headers = {"Content-Range": f"bytes {start}-{end - 1}/{len(sent)}"}
        return self.put(key, sent[start:end], digest=digest(sent), **headers | more)


@pytest.fixture
def camera(scene):
    return Camera(scene)


@pytest.mark.django_db
def test_a_photograph_is_kept_once_however_often_it_is_sent(camera) -> None:
    key, sent = uuid4(), with_position()
    first = camera.put(key, sent, query="?item=flue_terminal&caption=Terminal&taken_at=2026-03-02T09:20:00Z")
    again = camera.put(key, sent)
    assert (first.status_code, again.status_code) == (201, 200)
    assert (first.json()["item"], first.json()["taken_at"]) == ("flue_terminal", "2026-03-02T09:20:00+00:00")
    assert first.json() == again.json()
    assert PhotographPart.objects.count() == 0
    one = camera.scene.api.get(first.json()["url"], headers={"Accept": "image/jpeg"})
    assert (one["Content-Type"], one["X-Content-Type-Options"]) == ("image/jpeg", "nosniff")
    assert "private" in one["Cache-Control"]
    kept = b"".join(one.streaming_content)
    assert Image.open(BytesIO(kept)).size == (48, 64)
    assert b"secret" not in kept
    (row,) = camera.scene.api.get(f"{camera.scene.address}photographs/").json()["photographs"]
    assert row == first.json()
    different = camera.put(key, picture((10, 10)))
    assert (different.status_code, different.json()["code"]) == (409, "key_reused")


@pytest.mark.django_db
def test_parts_resume_where_they_broke_off_and_a_doubled_part_changes_nothing(camera) -> None:
    key, sent = uuid4(), picture((400, 300), quality=95)
    assert len(sent) > 3000
    assert camera.scene.api.head(camera.address(key)).status_code == 404
    first = camera.part(key, sent, 0, 1000)
    assert (first.status_code, first["Upload-Offset"], first["Upload-Complete"]) == (202, "1000", "?0")
    assert camera.part(key, sent, 0, 1000).json()["offset"] == 1000
    gap = camera.part(key, sent, 2000, 3000)
    assert (gap.status_code, gap.json()["code"], gap.json()["offset"]) == (409, "offset_wrong", 1000)
    head = camera.scene.api.head(camera.address(key))
    assert (head.status_code, head["Upload-Offset"], head["Upload-Complete"]) == (200, "1000", "?0")
    assert camera.scene.api.get(camera.address(key)).status_code == 404
    assert camera.part(key, sent, 1000, 2000).status_code == 202
    last = camera.part(key, sent, 2000, len(sent))
    assert (last.status_code, last["Upload-Complete"], last.json()["width_px"]) == (201, "?1", 400)
    assert camera.part(key, sent, 2000, len(sent)).status_code == 200
    assert Photograph.objects.count() == 1
    assert PhotographPart.objects.count() == 0


@pytest.mark.django_db
def test_a_whole_that_is_not_what_its_digest_says_is_forgotten_and_may_be_sent_anew(camera) -> None:
    key, sent = uuid4(), picture()
    torn = sent[:300] + b"\x00" * (len(sent) - 300)
    assert camera.part(key, sent, 0, 300).status_code == 202
    answer = camera.put(
        key, torn[300:], digest=digest(sent), **{"Content-Range": f"bytes 300-{len(sent) - 1}/{len(sent)}"}
    )
    assert (answer.status_code, answer.json()["code"]) == (400, "digest_wrong")
    assert Photograph.objects.count() == 0
    assert camera.put(key, sent).status_code == 201


@pytest.mark.django_db
def test_size_number_and_kind_are_bounded(camera) -> None:
    key, sent = uuid4(), picture()
    assert camera.put(key, sent, kind="application/pdf").status_code == 415
    assert camera.put(key, b"no picture").json()["code"] == "not_a_photograph"
    assert camera.put(key, b"").json()["code"] == "not_a_photograph"
    huge = camera.put(key, sent, **{"Content-Range": f"bytes 0-{len(sent) - 1}/{MAX_BYTES + 1}"})
    assert (huge.status_code, huge.json()["code"]) == (413, "too_large")
    naive = camera.put(key, sent, query="?taken_at=2026-03-02T09:20:00")
    assert naive.json()["errors"][0]["code"] == "zone_missing"
    bare = camera.scene.api.put(
        camera.address(key), sent[:9], content_type="image/jpeg", headers={"Content-Range": "bytes 0-8/99"}
    )
    assert bare.json()["code"] == "digest_wrong"
    given = {"visit": camera.scene.visit, "by": camera.scene.technician, "sent_bytes": 9}
    Photograph.objects.bulk_create(
        Photograph(key=uuid4(), changed_at=timezone.now(), **given) for _ in range(PER_VISIT)
    )
    assert camera.put(key, sent).json()["code"] == "too_many"


@pytest.mark.django_db
def test_who_sees_the_visit_sees_its_photographs_and_who_writes_it_sends_them(
    camera, colleague, api_of
) -> None:
    key = uuid4()
    assert camera.put(key, picture(), api=api_of(colleague)).status_code == 403
    camera.scene.put(closed({**visit_body(camera.scene.appliance), "save_no": 2}))
    assert camera.put(key, picture()).status_code == 201  # pictures follow when there is signal
    contact, stranger = UserFactory(role="contact"), UserFactory(role="contact")
    SiteContact.objects.create(site=camera.scene.appliance.plant.site, user=contact)
    assert camera.part(uuid4(), picture(), 0, 100).status_code == 202
    listed = f"{camera.scene.address}photographs/"
    assert len(api_of(contact).get(listed).json()["photographs"]) == 1
    assert api_of(contact).get(camera.address(key)).status_code == 200
    assert api_of(stranger).get(camera.address(key)).status_code == 404
    assert api_of(stranger).get(listed).status_code == 404
    path = Photograph.objects.stored().get().path
    assert default_storage.exists(path)
    assert camera.scene.api.get(f"/media/{path}").status_code == 404


@pytest.mark.django_db
def test_it_comes_in_small_for_a_page_to_whoever_may_see_the_whole(camera, api_of) -> None:
    key = uuid4()
    camera.put(key, picture((2000, 1500)))
    small = camera.scene.api.get(camera.address(key), {"size": "small"})
    whole = camera.scene.api.get(camera.address(key))
    sizes = [Image.open(BytesIO(b"".join(one.streaming_content))).size for one in (small, whole)]
    assert sizes == [(640, 480), (2000, 1500)]
    assert small["Cache-Control"] == whole["Cache-Control"]
    assert small_of(b"damaged in the store") == b"damaged in the store"
    stranger = api_of(UserFactory(role="contact"))
    assert stranger.get(camera.address(key), {"size": "small"}).status_code == 404


@pytest.mark.django_db
def test_what_was_left_half_way_is_cleared_after_days_and_nothing_else_is(camera) -> None:
    sent = picture()
    kept, left = uuid4(), uuid4()
    camera.put(kept, sent)
    camera.part(left, sent, 0, 100)
    now = timezone.now()
    assert parts_clear(now) == 0
    assert parts_clear(now + ABANDONED_AFTER + timedelta(minutes=1)) == 1
    assert list(Photograph.objects.values_list("key", flat=True)) == [kept]
    assert PhotographPart.objects.count() == 0

"""Results saved under a name, in a format and at a size of one's own: each file is read by a program that is not ours."""

from __future__ import annotations

import io
import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import dxfgrabber
import html5lib
import numpy as np
import pypdfium2
import pytest
from PIL import Image

import lobework as lw
from lobework.plugins import registry
from lobework.targets.target import Target
from tests.targets.test_svg import assert_overlap

SVG = "{http://www.w3.org/2000/svg}"
DPI = 254.0
"""Ten dots a millimetre."""


def saved(result, path, **how):
    return lw.save(result, path, **how).read_bytes()


def grey(data):
    return np.asarray(Image.open(io.BytesIO(data)).convert("L"))


def pdf_picture(data, dpi=DPI):
    """The first page, by PDFium."""
    return np.asarray(pypdfium2.PdfDocument(data)[0].render(scale=dpi / 72).to_pil().convert("L"))


def outline_and_cuts(drawing):
    return [*(line for line in drawing.lines if line.ink == "outline"), *drawing.strokes]


@pytest.mark.parametrize("legend", [True, False])
def test_a_pdf_shows_the_same_lines_as_the_png(results, tmp_path, legend):
    """PDFium against resvg, without the text, whose fonts differ; at true size."""
    sheet = replace(results["drawing"], words=())
    picture = pdf_picture(saved(sheet, tmp_path / "a.pdf", legend=legend))
    drawn = grey(saved(sheet, tmp_path / "a.png", size=max(picture.shape), legend=legend))
    assert_overlap(drawn, picture)


def test_a_pdf_has_the_words_of_the_sheet_as_text(results, tmp_path):
    text = pypdfium2.PdfDocument(saved(results["drawing"], tmp_path / "a.pdf"))[0].get_textpage().get_text_bounded()
    for line in results["drawing"].words:
        assert line.text.replace("\N{NO-BREAK SPACE}", " ") in text.replace("\N{NO-BREAK SPACE}", " ")


def test_letters_beyond_the_standard_fonts_of_pdf_are_kept(results, tmp_path):
    words = (replace(results["drawing"].words[0], text="Dóza č. 3 Ł"),)
    text = pypdfium2.PdfDocument(saved(replace(results["drawing"], words=words), tmp_path / "a.pdf"))[0].get_textpage()
    assert "Ł" in text.get_text_bounded()


@pytest.mark.parametrize(("size", "mm"), [(120, 120.0), ("4 in", 101.6), (None, None)])
def test_the_long_side_of_an_svg_or_a_pdf_is_the_size(results, tmp_path, size, mm):
    drawing = results["drawing"]
    mm = max(drawing.width, drawing.height) if mm is None else mm
    root = ET.fromstring(saved(drawing, tmp_path / "a.svg", size=size))
    assert max(float(root.get(side).removesuffix("mm")) for side in ("width", "height")) == pytest.approx(mm, abs=1e-3)
    page = pypdfium2.PdfDocument(saved(drawing, tmp_path / "a.pdf", size=size))[0]
    assert max(page.get_size()) / 72 * 25.4 == pytest.approx(mm, abs=1e-3)


@pytest.mark.parametrize("name", ["drawing", "carving"])
@pytest.mark.parametrize("legend", [True, False])
def test_the_long_side_of_a_picture_of_dots_is_the_size(results, tmp_path, name, legend):
    picture = Image.open(io.BytesIO(saved(results[name], tmp_path / "a.png", size=417, legend=legend)))
    assert max(picture.size) == 417


@pytest.mark.parametrize("name", ["drawing", "carving"])
def test_webp_has_the_dots_of_the_png(results, tmp_path, name):
    png, webp = (saved(results[name], tmp_path / f"a.{ending}", size=300) for ending in ("png", "webp"))
    one, other = (np.asarray(Image.open(io.BytesIO(each)).convert("RGB")) for each in (png, webp))
    assert Image.open(io.BytesIO(webp)).format == "WEBP"
    assert np.array_equal(one, other)


def test_without_a_legend_a_drawing_has_the_cuts_and_the_outline_alone(results, tmp_path):
    drawing = results["drawing"]
    whole, bare = (ET.fromstring(saved(drawing, tmp_path / f"{legend}.svg", legend=legend)) for legend in (True, False))
    assert list(whole.iter(f"{SVG}text")) != []
    assert list(bare.iter(f"{SVG}text")) == []
    paths = [[path.get("d") for path in root.iter(f"{SVG}path") if path.get("class") != "accent"] for root in (whole, bare)]
    assert paths[0] == paths[1]
    left, top, width, height = map(float, bare.get("viewBox").split())
    for stroke in outline_and_cuts(drawing):
        low, high = stroke.points.min(axis=0) - stroke.width / 2, stroke.points.max(axis=0) + stroke.width / 2
        assert left <= low[0]
        assert high[0] <= left + width
        assert top <= -high[1]
        assert -low[1] <= top + height
    assert width == pytest.approx(60.0, abs=1.5)
    assert height == pytest.approx(60.0, abs=1.5)


def test_without_a_legend_a_carving_has_no_scale_bar(results, tmp_path):
    """The pictures differ at the foot alone, by the bar's own colour."""
    whole, bare = (
        grey(saved(results["carving"], tmp_path / f"{legend}.png", size=400, legend=legend)) for legend in (True, False)
    )
    rows, _ = np.nonzero(whole != bare)
    assert rows.size > 20
    assert rows.min() > 350


def test_a_dxf_has_every_stroke_in_true_millimetres(results, tmp_path):
    """Read by dxfgrabber. DXF Reference (AutoCAD 2010): $INSUNITS 4 is millimetres."""
    drawing = results["drawing"]
    path = lw.save(drawing, tmp_path / "a.dxf")
    read = dxfgrabber.readfile(str(path))
    assert read.header["$INSUNITS"] == 4
    strokes = outline_and_cuts(drawing)[1:] + outline_and_cuts(drawing)[:1]
    assert {each.dxftype for each in read.entities} == {"LWPOLYLINE"}
    for entity, stroke in zip(read.entities, strokes, strict=True):
        assert np.abs(np.array([point[:2] for point in entity.points]) - stroke.points).max() <= 5.1e-5
        assert entity.is_closed == stroke.closed
        assert entity.const_width == pytest.approx(stroke.width, abs=1e-4)
    assert {each.layer for each in read.entities} == {"pass-1", "pass-2", "outline"}


def test_paths_through_air_have_a_layer_of_their_own_in_a_dxf(results, tmp_path):
    layer = results["drawing"].layers[0]
    stroke = replace(layer.figures[0].strokes[0], ink="air")
    drawing = replace(results["drawing"], layers=(replace(layer, figures=(replace(layer.figures[0], strokes=(stroke,)),)),))
    read = dxfgrabber.readfile(str(lw.save(drawing, tmp_path / "a.dxf")))
    assert [each.layer for each in read.entities] == ["air", "outline"]


def test_settings_as_a_page_have_every_entry_and_every_cut(results, tmp_path):
    """Parsed by html5lib, strictly."""
    settings = results["settings"]
    data = saved(settings, tmp_path / "a.html")
    root = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(data.decode())
    cells = ["".join(cell.itertext()) for cell in root.iter() if cell.tag in ("th", "td")]
    for group in settings.groups:
        for entry in group.entries:
            assert " ".join(entry.value.split()) in {" ".join(cell.split()) for cell in cells}
    rows = [row for table in root.iter("table") for row in table.iter("tr") if any(td.get("class") == "box" for td in row)]
    assert len(rows) == sum(len(steps.rows) for steps in settings.steps)
    text = "".join(root.itertext())
    assert "eye protection" in text.lower()
    assert "Tide box & lid" in text


@pytest.mark.parametrize(
    ("name", "ending", "target"),
    [("settings", "txt", "text"), ("program", "ngc", "rs274"), ("carving", "stl", "stl"), ("carving", "3mf", "3mf")],
)
def test_the_other_files_are_those_of_the_targets(results, tmp_path, name, ending, target):
    expected = registry.installed().target(target).render(results[name])
    assert saved(results[name], tmp_path / f"a.{ending}") == expected


def test_a_proof_is_saved_as_its_report(results, tmp_path):
    assert saved(results["proof"], tmp_path / "a.txt").decode() == f"{results['proof']}\n"


def test_a_job_and_its_traces_are_saved_as_their_drawing_or_as_the_axes(job, results, tmp_path):
    drawn = saved(results["drawing"], tmp_path / "a.svg")
    assert saved(job, tmp_path / "b.svg") == saved(job.trace(), tmp_path / "c.svg") == drawn
    assert saved(job, tmp_path / "a.csv") == registry.installed().target("csv").render(job.trace())


def test_a_target_of_a_plugin_adds_its_ending(results, tmp_path, monkeypatch):
    own = Target(name="dots", file="pattern.dots", shows="drawing", description="dots", render=lambda sheet: sheet.title.encode())
    targets = {**registry.installed().targets(), "dots": own}
    monkeypatch.setattr(registry.Plugins, "targets", lambda shelf: targets)
    assert saved(results["drawing"], tmp_path / "a.dots") == b"Tide box & lid"


@pytest.mark.parametrize("ending", ["svg", "pdf", "dxf", "png", "webp"])
def test_equal_drawings_give_equal_files(job, results, tmp_path, ending):
    assert saved(job.drawing(), tmp_path / f"a.{ending}") == saved(results["drawing"], tmp_path / f"b.{ending}")


def test_a_folder_is_made_and_a_file_is_replaced_only_on_request(results, tmp_path):
    path = tmp_path / "new" / "a.SVG"
    lw.save(results["drawing"], path)
    with pytest.raises(lw.OutputExistsError):
        lw.save(results["drawing"], path, size=50)
    assert b"mm" in lw.save(results["drawing"], str(path), size=50, overwrite=True).read_bytes()


WRONG = {
    "an unknown ending": ("drawing", "a.gif", {}, "a.gif: the drawing cannot be saved as '.gif'; the formats are .dxf, .pdf"),
    "a misspelt ending": ("drawing", "a.sgv", {}, "did you mean '.svg'?"),
    "no ending": ("settings", "a", {}, "a: the name has no ending; the formats are .html, .txt"),
    "a size of another unit": ("drawing", "a.png", {"size": "4 in"}, "size='4 in': must be a whole number of dots from 16 to"),
    "half a dot": ("drawing", "a.png", {"size": 300.5}, "size=300.5: must be a whole number of dots"),
    "too few dots": ("carving", "a.png", {"size": 10}, "size=10: must be a whole number of dots from 200 to 3,000"),
    "a size that is no length": ("drawing", "a.pdf", {"size": "large"}, "size='large': is not understood; write for example"),
    "no number": ("drawing", "a.svg", {"size": float("nan")}, "size=nan: is not a finite number"),
    "no size": ("drawing", "a.svg", {"size": 0}, "size=0: must be from 1 to 10,000 mm"),
    "a size of a fixed format": ("drawing", "a.dxf", {"size": 30}, "size=30: a file .dxf has a fixed size; leave size out"),
    "no legend to leave out": ("settings", "a.txt", {"legend": False}, "legend=False: a file .txt has no legend that"),
}


@pytest.mark.parametrize(("name", "file", "how", "message"), WRONG.values(), ids=WRONG)
def test_wrong_arguments_give_one_line_and_no_file(results, tmp_path, name, file, how, message):
    with pytest.raises(lw.InputError) as error:
        lw.save(results[name], tmp_path / file, **how)
    assert re.search(re.escape(message), str(error.value))
    assert "\n" not in str(error.value)
    assert list(tmp_path.iterdir()) == []


def test_anything_else_is_not_saved(tmp_path):
    with pytest.raises(lw.InputError, match="result=int: must be a result: Drawing, Carving"):
        lw.save(3, tmp_path / "a.svg")


def test_a_missing_package_is_named_with_its_remedy(results, tmp_path, monkeypatch):
    from lobework.pictures import formats

    monkeypatch.setattr(formats, "find_spec", lambda module: None)
    with pytest.raises(lw.InputError, match=r"a file \.pdf needs the package reportlab.*pip install 'lobework\[pdf\]'"):
        lw.save(results["drawing"], tmp_path / "a.pdf")
    assert list(tmp_path.iterdir()) == []

"""CxF3 (ISO 17972-1) against a real file, its stored L*a*b*, and colour-cxf."""

import time
from importlib import resources
from pathlib import Path

import numpy as np
import pytest
from broken_files import TWO, cxf
from small_shop import SPECTRA

from matchkit.colorimetry.tristimulus import Lab, XYZ_to_Lab, de00
from matchkit.errors import InputError
from matchkit.files.spectrum import read_readings, read_spectra
from matchkit.fitting.instrument import stretched

SAMPLES = Path(__file__).parent / "authorities" / "samples"
REAL = SAMPLES / "colour_cxf_sample.cxf"  # see SOURCE_formats.md
SPHERE = "<cc:GeometryChoice><cc:SphereGeometry>{}</cc:SphereGeometry></cc:GeometryChoice>"
ANGLES = (
    "<cc:GeometryChoice><cc:SingleAngle><cc:SingleAngleConfiguration>Annular"
    "</cc:SingleAngleConfiguration><cc:IlluminationAngle>{}</cc:IlluminationAngle>"
    "<cc:MeasurementAngle>{}</cc:MeasurementAngle></cc:SingleAngle></cc:GeometryChoice>"
)


@pytest.fixture
def write(tmp_path):
    def _write(content, name="target.cxf"):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
        return path

    return _write


def faults_of(path):
    with pytest.raises(InputError) as refusal:
        read_spectra(path)
    for fault in refusal.value.faults:
        assert fault.isprintable()
        assert fault.startswith(path.name)
    return refusal.value.faults


def folded_weights(start, end):
    """D50/2 weights over a range by colour-science, the rest in its ends (ASTM E308)."""
    import colour

    shape, routines = colour.SpectralShape, colour.colorimetry
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().trim(shape(360, 780, 1))
    light = colour.SDS_ILLUMINANTS["D50"].copy()
    light = light.interpolate(shape(360, 780, 1), interpolator=colour.CubicSplineInterpolator)
    wide = shape(360, 780, 10)
    W = routines.tristimulus_weighting_factors_ASTME2022(cmfs, light, wide)
    return routines.adjust_tristimulus_weighting_factors_ASTME308(W, wide, shape(start, end, 10))


def test_144_real_spectra_have_the_lab_that_is_stored_beside_them():
    """Measured: 0.119 dE*ab at most over 380-680 nm, 0.118 with the ends filled up."""
    (block,), kind, found = read_readings(REAL)
    assert (kind, found.notes) == ("CxF3", [])
    assert block.values.shape == (144, 31)
    assert block.nm[[0, 1, -1]].tolist() == [380, 390, 680]
    assert block.names == [str(i) for i in range(1, 145)]
    assert {each.geometry for each in block.stated} == {"45/0"}
    assert {(lab.light, lab.observer) for lab in block.labs} == {("D50", 2)}
    stored = np.array([lab.Lab for lab in block.labs])
    W = folded_weights(380, 680)
    for own in (
        XYZ_to_Lab(block.values @ W, W.sum(axis=0)),
        Lab(stretched(block.nm, block.values), "D50", 2),
    ):
        assert np.linalg.norm(own - stored, axis=1).max() < 0.15


def test_a_match_refuses_it_for_its_range():
    (fault,) = faults_of(REAL)
    assert fault.startswith("colour_cxf_sample.cxf: wavelengths end at 680 nm")


def test_the_committed_copy_is_that_of_colour_cxf():
    package = pytest.importorskip("colour_cxf", reason="colour-cxf is not installed")
    original = Path(str(resources.files(package))) / "tests" / "resources" / "sample.cxf"
    if not original.is_file():
        pytest.skip("this colour-cxf comes without its sample")
    ours, theirs = read_readings(REAL)[0][0], read_readings(original)[0][0]
    assert ours.names == theirs.names
    assert ours.labs == theirs.labs
    np.testing.assert_array_equal(ours.values, theirs.values)


@pytest.mark.parametrize("path", [REAL, SAMPLES / "minimal.cxf", SAMPLES / "spot_ladder.cxf"])
def test_colour_cxf_reads_the_same(path):
    package = pytest.importorskip("colour_cxf", reason="colour-cxf is not installed")
    from colour_cxf import cxf3

    read = package.read_cxf_from_file(str(path)).resources
    increments = {
        each.id: each.measurement_spec.wavelength_range.increment
        for each in read.color_specification_collection.color_specification
    }
    theirs = [
        (each.name, spectrum.start_wl, increments[spectrum.color_specification], spectrum.value)
        for each in read.object_collection.object_value
        for spectrum in each.color_values.choice
        if isinstance(spectrum, cxf3.ReflectanceSpectrum)
    ]
    blocks, _, _ = read_readings(path)
    ours = [
        (name, block.nm[0], block.nm[1] - block.nm[0], values.tolist())
        for block in blocks
        for name, values in zip(block.names, block.values, strict=True)
    ]
    assert ours == theirs


def test_the_samples():
    (red,), notes = read_spectra(SAMPLES / "minimal.cxf")
    assert (red.name, red.geometry, red.condition, red.backing) == ("Test red", "45/0", "", "white")
    assert red.R[[0, 20]].tolist() == [0.04, 0.42]
    assert notes == []
    ladder, _ = read_spectra(SAMPLES / "spot_ladder.cxf")
    assert [each.backing for each in ladder] == ["white"] * 4 + ["black"] * 4
    assert ladder[1].name == "Spot red 40% over White"


def test_names_values_and_repeats(write):
    spectra, notes = read_spectra(write(cxf()))
    assert [each.name for each in spectra] == ["Lemon", "White"]
    np.testing.assert_allclose(spectra[1].readings, SPECTRA["White"], atol=6e-6)
    assert notes == []


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "iso-8859-1"])
def test_encodings(write, encoding):
    content = cxf({"Crème": TWO["Lemon"]}).replace("UTF-8", encoding.replace("-sig", ""))
    assert read_spectra(write(content.encode(encoding)))[0][0].name == "Crème"


@pytest.mark.parametrize("step_nm", [5, 10, 20])
def test_steps_of_5_10_and_20_nm_are_one_colour(write, step_nm):
    """The chart of ISO 17321-1 as colour-science has it, 5 nm, written at three steps."""
    from chart import PATCHES

    nm = np.arange(380, 731, step_nm)
    spectra, _ = read_spectra(
        write(cxf({k: [[sd[w] for w in nm]] for k, sd in PATCHES.items()}, start=380, step=step_nm))
    )
    truth = np.array([[sd[w] for w in range(400, 701, 10)] for sd in PATCHES.values()])
    error = de00(Lab([each.R for each in spectra], "D65", 10), Lab(truth, "D65", 10))
    assert error.max() < (0.13 if step_nm == 20 else 1e-2)


@pytest.mark.parametrize(
    ("specification", "expected"),
    [
        (SPHERE.format("Specular_Included"), ("d/8 specular included", "", "", "")),
        (SPHERE.format("Specular_Excluded"), ("d/8 specular excluded", "", "", "")),
        (ANGLES.format(45, 0), ("45/0", "", "", "")),
        (ANGLES.format("0.0", "45.0"), ("45/0", "", "", "")),
        (ANGLES.format(30, 0), ("30/0", "", "", "")),
        (
            "<cc:GeometryChoice><cc:UnknownGeometry>x</cc:UnknownGeometry></cc:GeometryChoice>",
            ("",) * 4,
        ),
        (
            "<cc:GeometryChoice><cc:MultiAngle/></cc:GeometryChoice>",
            ("at several angles", "", "", ""),
        ),
        (
            ANGLES.format(45, 0)
            + "<cc:Backing>Black</cc:Backing><cc:Device><cc:DeviceIllumination>"
            "M2_UVExcluded</cc:DeviceIllumination></cc:Device>",
            ("45/0", "M2", "black", ""),
        ),
        (
            ANGLES.format(45, 0) + "<cc:Device><cc:DevicePolarization>true</cc:DevicePolarization>"
            "</cc:Device>",
            ("45/0", "M3", "", ""),
        ),
        (
            SPHERE.format("Specular_Included") + "<cc:Device><cc:DeviceFilter>Filter_UVExcluded"
            "</cc:DeviceFilter></cc:Device>",
            ("d/8 specular included", "UV excluded", "", "Filter_UVExcluded"),
        ),
        (
            SPHERE.format("Specular_Included") + "<cc:Device><cc:DeviceFilter>Filter_None"
            "</cc:DeviceFilter></cc:Device>",
            ("d/8 specular included", "UV included", "", "Filter_None"),
        ),
    ],
)
def test_how_it_was_measured(write, specification, expected):
    spectra, _ = read_spectra(write(cxf(specification=specification)))
    each = spectra[0]
    assert (each.geometry, each.condition, each.backing, each.filter) == expected


def test_extensions_are_passed_over(write):
    extra = '<x:Private xmlns:x="urn:example:ours"><x:Ink cost="9"/></x:Private>'
    content = cxf(extra=extra).replace("<cc:ColorValues>", "<cc:Tag/>" + extra + "<cc:ColorValues>")
    assert len(read_spectra(write(content))[0]) == 2


def test_an_object_without_a_spectrum(write):
    lab = (
        '<cc:Object Name="Only Lab"><cc:ColorValues><cc:ColorCIELab ColorSpecification="CS1">'
        "<cc:L>50</cc:L><cc:A>1</cc:A><cc:B>2</cc:B></cc:ColorCIELab></cc:ColorValues></cc:Object>"
    )
    content = cxf().replace("<cc:ObjectCollection>", "<cc:ObjectCollection>" + lab)
    spectra, notes = read_spectra(write(content))
    assert [each.name for each in spectra] == ["Lemon", "White"]
    assert notes == [
        "target.cxf: 1 of the objects have no reflectance spectrum: 'Only Lab'; left out"
    ]
    (fault,) = faults_of(
        write(cxf({}).replace("<cc:ObjectCollection>", "<cc:ObjectCollection>" + lab))
    )
    assert "export spectra, or give L*a*b* to `matchkit match --lab`" in fault


def test_one_name_under_two_conditions_is_no_repeat(write):
    second = (
        '<cc:ColorSpecification Id="CS2"><cc:MeasurementSpec><cc:Device><cc:DeviceIllumination>'
        'M1_Daylight</cc:DeviceIllumination></cc:Device><cc:WavelengthRange Increment="10"/>'
        "</cc:MeasurementSpec></cc:ColorSpecification></cc:ColorSpecificationCollection>"
    )
    content = cxf().replace("</cc:ColorSpecificationCollection>", second)
    content = content.replace(
        'Name="White" Id="o1"><cc:ColorValues><cc:ReflectanceSpectrum ColorSpecification="CS1"',
        'Name="White" Id="o1"><cc:ColorValues><cc:ReflectanceSpectrum ColorSpecification="CS2"',
    )
    (fault,) = faults_of(write(content))
    assert "'White' was measured in 2 ways: M1; d/8 specular excluded" in fault


BOMB = (
    '<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaaaaaaaa">'
    + "".join(
        f'<!ENTITY {b} "{f"&{a};" * 10}">' for a, b in zip("abcdefghi", "bcdefghij", strict=True)
    )
    + "]><x>&j;</x>"
)


@pytest.mark.parametrize(
    "content",
    [
        BOMB,
        BOMB.encode("utf-16"),
        cxf().replace("<cc:CxF", '<!DOCTYPE x SYSTEM "file:///etc/passwd"><cc:CxF', 1),
        cxf().replace(
            "<cc:CxF", '<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/passwd">]><cc:CxF', 1
        ),
        cxf().replace("<cc:CxF", "<!DOCTYPE x><cc:CxF", 1),
        cxf().replace("<cc:CxF", '<!DOCTYPE x PUBLIC "-//x" "http://example.invalid/x"><cc:CxF', 1),
    ],
)
def test_document_types_and_entities_are_refused(write, content):
    start = time.process_time()
    (fault,) = faults_of(write(content))
    assert "declares a document type or an entity, which no spectrum needs" in fault
    assert time.process_time() - start < 1.0


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    [
        ("</cc:CxF>", "", "not well-formed XML: no element found"),
        ("<cc:Resources>", "<cc:Resources>&bomb;", "not well-formed XML: undefined entity"),
        ("UTF-8", "utf-7", "its encoding is not known"),
        ("UTF-8", "klingon", "its encoding is not known"),
        ("CxF3-core", "CxF2-core", "another version of CxF ('http://colorexchangeformat.com/CxF2"),
        ("cc:CxF ", "cc:Other ", None),
        ("Increment=", "Increments=", "object 1 'Lemon': no Increment is stated"),
        ('Increment="10"', 'Increment="0"', "object 1 'Lemon': no Increment is stated"),
        ('Increment="10"', 'Increment="ten"', "ColorSpecification 'CS1' Increment: 'ten' is not"),
        ('Increment="10"', 'Increment="-10"', "wavelengths must"),
        ('Increment="10"', 'Increment="7"', "wavelengths end at 610 nm"),
        (
            'CS1" StartWL="400">',
            'CS1" StartWL="380">',
            "begins at 380 nm by its own account and at",
        ),
        ('CS1" StartWL="400">', 'CS1" StartWL="x">', "'x' is not a number"),
        ('Specification="CS1"', 'Specification="CS9"', "ColorSpecification 'CS9', which is not in"),
        ("Spectrum_Reflectance", "Spectrum_Transmittance", "a reflectance is needed"),
        ('Name="Lemon"', 'Name="../../etc/x"', "the name '../../etc/x' is a path"),
        ('Name="Lemon" Id="o0"', 'Name=" " Id=""', "the name is empty; write a name"),
        ("0.04097", "abc", "value 1: 'abc' is not a number"),
        ("0.04097", "0,04", "value 1: '0,04' is not a number"),
        ("0.04097", "NaN", "value 1: 'NaN' is not a number"),
        ("0.04097", "1e999", "value 1: '1e999' is not a number"),
        ("0.04097", "", None),
        ("0.04097", "-0.2", "-0.2 at 400 nm is negative"),
        ("0.04097", "1.2", "1.2 at 400 nm is over 1.05: a fluorescent ink"),
        ("0.04097", "<x>0.04</x>", "object 1 'Lemon'"),
    ],
)
def test_files_that_are_refused(write, old, new, reason):
    content = cxf().replace("0.04099", "0.04097")
    assert old in content
    count = 1 if old.startswith(("0.0", "UTF", "Name", "CS1")) else -1
    faults = faults_of(write(content.replace(old, new, count)))
    assert any((reason or "target.cxf") in fault for fault in faults), faults


def test_other_xml_and_empty_files(write):
    assert "XML, but not CxF3: it is 'html'" in faults_of(write("<html><b>x</b></html>"))[0]
    space = 'xmlns:cc="http://colorexchangeformat.com/CxF3-core"'
    assert faults_of(write(f"<cc:CxF {space}/>"))[0] == "target.cxf: no spectra in it; export them"


def test_xml_that_is_too_large_or_too_deep(write):
    space = 'xmlns:cc="http://colorexchangeformat.com/CxF3-core"'
    many = f"<cc:CxF {space}>" + "<a/>" * 700_000 + "</cc:CxF>"
    assert "more XML than 20,000 spectra need" in faults_of(write(many))[0]
    deep = f"<cc:CxF {space}>" + "<a>" * 100_000 + "</a>" * 100_000 + "</cc:CxF>"
    assert "no spectra in it" in faults_of(write(deep))[0]

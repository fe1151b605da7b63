"""A kind of measurand is registered once; whatever leaves it out, or makes one up, is refused."""

from dataclasses import replace

import pytest

from rig import bench as benches
from rig.errors import RigError
from rig.guide import kinds, script
from rig.guide.kinds import AIM_OF, KINDS, ON_SPECIMEN
from rig.guide.traceability import certificates, lacks
from rig.report.page import SECTIONS
from rig.report.sections import attached
from rig.study.register.responses import KINDS as RESPONSES


def test_a_kind_on_a_blade_without_a_section_of_the_page_is_refused_by_name() -> None:
    with pytest.raises(LookupError, match="no section of the page for: pry, twist"):
        attached(*(one for name, one in SECTIONS.items() if name not in ("pry", "twist")))


def test_a_section_of_what_nothing_measures_is_refused_by_name() -> None:
    with pytest.raises(LookupError, match="not measured: bend"):
        attached(*SECTIONS.values(), replace(SECTIONS["pry"], kind="bend"))


def test_every_kind_on_a_blade_has_its_procedure_and_its_main_measurand_a_name_there() -> None:
    assert set(AIM_OF) <= set(script.built_in())
    assert set(AIM_OF.values()) == set(ON_SPECIMEN), "no two procedures aim at one kind"
    for name, section in SECTIONS.items():
        assert section.main in section.words, name


def test_a_response_is_of_a_measurand_that_its_kind_s_page_names() -> None:
    for response in RESPONSES.values():
        words = SECTIONS[response.of].words
        assert response.field or response.measurand in words, response.name


def test_what_nothing_measures_is_refused_and_never_taken_for_sound() -> None:
    bench = benches.load(None)
    for refused in (lambda: lacks(bench, "bend"), lambda: kinds.compute("bend", b"", {})):
        with pytest.raises(RigError, match="nothing measures 'bend'"):
            refused()
    with pytest.raises(RigError, match="nothing measures 'bend'"):
        certificates(bench, "bend")


def test_a_kind_lacks_what_its_channels_lack_and_no_more() -> None:
    bench = benches.load(None)
    for name, kind in KINDS.items():
        named = {reason.name for reason in lacks(bench, name)} - {"carriage_not_weighed"}
        assert named == {f"{channel}_certificate" for channel in kind.channels}
    weighed = {name for name in KINDS if "carriage_not_weighed" in
               {reason.name for reason in lacks(bench, name)}}  # fmt: skip
    assert weighed == {"drop", "staircase"}

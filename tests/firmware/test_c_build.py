"""The C reference is clean C99 and C11, needs no library, and is small; sanitizers find nothing."""

import re
import subprocess

import pytest

WARNINGS = [
    "-Wall",
    "-Wextra",
    "-Wpedantic",
    "-Werror",
    "-Wconversion",
    "-Wsign-conversion",
    "-Wshadow",
    "-Wcast-align",
    "-Wcast-qual",
    "-Wundef",
    "-Wstrict-prototypes",
    "-Wmissing-prototypes",
    "-Wold-style-definition",
    "-Wredundant-decls",
    "-Wvla",
    "-Wswitch-default",
    "-Wpointer-arith",
    "-Wwrite-strings",
    "-Wdouble-promotion",
    "-Wformat=2",
]
CORTEX_M3 = ["-mcpu=cortex-m3", "-mthumb"]
TEXT_LIMIT = 2048
COMPILERS = ["gcc", "clang", "arm-none-eabi-gcc"]


def run(*words, stdin=""):
    result = subprocess.run(
        list(map(str, words)), input=stdin, capture_output=True, text=True, timeout=100
    )
    assert result.returncode == 0, result.stderr
    return result.stdout


@pytest.fixture
def build(real_part, c_source, tmp_path):
    """Return a function that compiles the C reference with every warning, to an object."""

    def make(compiler, *flags):
        built = tmp_path / "levelhead.o"
        for_core = CORTEX_M3 if compiler.startswith("arm") else []
        fixed = [*for_core, *WARNINGS, "-ffreestanding", "-fno-pic", "-c", "-o", built]
        run(real_part(compiler), *fixed, *flags, c_source / "levelhead.c")
        return built

    return make


@pytest.mark.parametrize("standard", ["c99", "c11"])
@pytest.mark.parametrize("compiler", COMPILERS)
def test_no_compiler_has_a_complaint(build, compiler, standard):
    for level in ("-O0", "-O2", "-Os"):
        build(compiler, f"-std={standard}", level)


def test_a_complaint_would_be_heard(real_part, tmp_path):
    source = tmp_path / "narrow.c"
    source.write_text("unsigned char f(int a);\nunsigned char f(int a) { return a; }\n")
    for compiler in COMPILERS:
        command = [real_part(compiler), *WARNINGS, "-std=c99", "-c", "-o", "/dev/null", source]
        assert subprocess.run(command, capture_output=True, timeout=100).returncode != 0


@pytest.mark.parametrize("level", ["-O0", "-O1", "-O2", "-O3", "-Os"])
@pytest.mark.parametrize("compiler", COMPILERS)
def test_calls_nothing_from_outside_and_keeps_nothing(build, real_part, compiler, level):
    built = build(compiler, "-std=c99", level)
    prefix = "arm-none-eabi-" if compiler.startswith("arm") else ""
    rows = run(real_part(f"{prefix}nm"), built).splitlines()
    kinds = {row.split()[-2] for row in rows}
    assert "T" in kinds
    assert not kinds & set("UuCcDdBbGgSs"), rows
    _, numbers = run(real_part(f"{prefix}size"), built).splitlines()
    assert numbers.split()[1:3] == ["0", "0"]  # data and bss


def test_links_with_no_library(build, real_part, tmp_path):
    built = build("arm-none-eabi-gcc", "-std=c99", "-Os")
    linked = [*CORTEX_M3, "-nostdlib", "-Wl,--entry=lh_frame", "-o", tmp_path / "linked", built]
    run(real_part("arm-none-eabi-gcc"), *linked)


def test_is_under_2_kb_of_text_on_a_cortex_m3(build, real_part):
    for standard in ("c99", "c11"):
        built = build("arm-none-eabi-gcc", f"-std={standard}", "-Os")
        _, numbers = run(real_part("arm-none-eabi-size"), built).splitlines()
        assert 1000 < int(numbers.split()[0]) < TEXT_LIMIT


def test_a_core_that_cannot_divide_needs_the_helpers_of_its_compiler_alone(
    real_part, c_source, tmp_path
):
    flags = ["-mcpu=cortex-m0", "-mthumb", "-Os", "-ffreestanding", "-c"]
    built = tmp_path / "m0.o"
    run(real_part("arm-none-eabi-gcc"), *flags, "-o", built, c_source / "levelhead.c")
    names = set(run(real_part("arm-none-eabi-nm"), "-u", built).split()) - {"U"}
    assert all(re.fullmatch(r"__aeabi_u?idiv(mod)?|__gnu_thumb1_case_\w+", n) for n in names), names


def test_a_program_in_cpp_can_call_it(build, real_part, c_source, tmp_path):
    source = tmp_path / "main.cpp"
    source.write_text('#include "levelhead.h"\nint main() { return lh_wrap(3600000); }\n')
    built = build("gcc", "-std=c99", "-O1")
    flags = ["-std=c++11", "-Wall", "-Wextra", "-Wpedantic", "-Werror", f"-I{c_source}"]
    flags.append("-no-pie")
    run(real_part("clang++"), *flags, "-o", tmp_path / "main", source, built)
    run(tmp_path / "main")


def declared_in(header):
    """Each function of the header, with the comment that stands above it."""
    found = {}
    for part in header.split("\n\n"):
        comment, _, code = part.rpartition("*/")
        for name in re.findall(r"^(?:\w+ )+\**(lh_\w+)\(", code, re.M):
            found[name] = comment
    return found


def test_every_function_is_documented_with_its_section(c_source):
    comments = declared_in((c_source / "levelhead.h").read_text(encoding="utf-8"))
    assert len(comments) > 20
    assert [name for name, text in comments.items() if not re.search(r"sections? \d", text)] == []


def test_every_function_is_driven(c_source, head_in_c, request):
    declared = declared_in((c_source / "levelhead.h").read_text(encoding="utf-8"))
    driver = request.path.with_name("drive_levelhead.c").read_text(encoding="utf-8")
    assert set(declared) == set(re.findall(r"\b(lh_\w+)\(", driver))
    assert all(getattr(head_in_c.c, name).argtypes for name in declared)


SANITIZERS = {
    "gcc": "address,undefined",
    "clang": "address,undefined,implicit-conversion",
}


@pytest.fixture
def driver(real_part, c_source, request, tmp_path):
    """Return a function that builds the driver under sanitizers that stop at a finding."""

    def make(compiler, source=c_source / "levelhead.c"):
        built = tmp_path / "drive"
        flags = ["-std=c11", "-g", "-O1", *WARNINGS, f"-I{c_source}", "-o", built]
        flags += [f"-fsanitize={SANITIZERS[compiler]}", "-fno-sanitize-recover=all"]
        run(real_part(compiler), *flags, request.path.with_name("drive_levelhead.c"), source)
        return built

    return make


@pytest.mark.parametrize("compiler", SANITIZERS)
def test_sanitizers_find_nothing_on_examples_and_random_input(driver, vectors, compiler):
    frames = "\n".join(vector.frame.hex() for vector in vectors)
    from_host = [v for v in vectors if v.value.get("message") in ("ping", "command")]
    built = driver(compiler)
    for seed in (1, 2):
        assert run(built, seed, 15_000, stdin=frames) == f"{len(from_host)}\n"


BROKEN = {
    "a frame past its buffer": ("into->used < into->room", "into->used <= into->room"),
    "a sample past its buffer": ("room < LH_SAMPLE_SIZE)", "room < 10u)"),
    "a set that is not there": ("set > 1u ||", "set > 2u ||"),
    "a body read past its end": ("size >= COMMAND_SIZE &&", "size >= PING_SIZE &&"),
    "a channel twice": ("channel->channel < LH_CHANNELS &&", ""),
    "more than six bytes kept": ("receiver->decoded < sizeof receiver->first", "true"),
    "a wrong bit": ("receiver->crc == CRC_SOUND", "true"),
}


@pytest.mark.parametrize("fault", BROKEN)
def test_the_driver_notices(driver, c_source, vectors, tmp_path, fault):
    whole = (c_source / "levelhead.c").read_text(encoding="utf-8")
    right, wrong = BROKEN[fault]
    assert whole.count(right) == 1
    broken = tmp_path / "levelhead.c"
    broken.write_text(whole.replace(right, wrong))
    frames = "\n".join(vector.frame.hex() for vector in vectors)
    command = [driver("gcc", broken), "1", "15000"]
    result = subprocess.run(command, input=frames, capture_output=True, text=True, timeout=100)
    assert result.returncode != 0
    assert re.search("not so|runtime error|AddressSanitizer", result.stderr)


STUBS = """
#include "levelhead.h"
extern lh_hello hello; extern lh_boot boot; extern lh_clock clock; extern lh_sample sample;
extern lh_receiver receiver; extern lh_control control; extern lh_request request;
extern uint8_t body[LH_BODY_MAX], answer[LH_ANSWER_SIZE], byte, delimiter, status, flags;
extern uint32_t last_boot_id, received_us, now_us;
uint32_t timer_now(void); int32_t inclinometer_code(void); int32_t encoder_code(void);
void uart_write(const uint8_t *bytes, size_t size);
void example(void);
"""


def test_the_example_of_the_manual_compiles(real_part, c_source, tmp_path):
    manual = (c_source / "README.md").read_text(encoding="utf-8")
    (shown,) = re.findall(r"```c\n(.*?)```", manual, re.S)
    function, statements = shown.split("\n}\n\n", 1)
    source = tmp_path / "example.c"
    source.write_text(f"{STUBS}{function}\n}}\nvoid example(void)\n{{\n{statements}}}\n")
    command = [*CORTEX_M3, *WARNINGS, "-std=c99", "-ffreestanding", f"-I{c_source}"]
    run(real_part("arm-none-eabi-gcc"), *command, "-c", "-o", "/dev/null", source)

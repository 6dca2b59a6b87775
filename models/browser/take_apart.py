"""Take the decoder for browsers out of the npm package that it comes in, for `oralquiz homework`.

    python models/browser/take_apart.py

fetches the package by the machine's own npm, checks that it is the one that is known, and writes
into ``oralquiz/homework/assets/vosk``:

- ``vosk.wasm.gz``: the library compiled to WebAssembly, as it is, packed by gzip;
- ``vosk.js``: what loads it and calls it, cut out of the package's worker, with two functions
  replaced that make code out of text, which a page of ours forbids itself.

The package's own worker is not used: it fetches its model by address, which a page opened as a file
cannot, and gives one best result only. Needed again only for another version of the package.
"""

from __future__ import annotations

import base64
import gzip
import hashlib
import re
import subprocess
import tarfile
import tempfile
from pathlib import Path

PACKAGE = "vosk-browser@0.0.8"
PACKAGE_SHA256 = "fd16fc7e64c935d7a79cf07c8f67d84232b6485376a59144af8a234979a9a4b4"
MEMBER = "package/dist/vosk.js"
TARGET = Path(__file__).parents[2] / "oralquiz" / "homework" / "assets" / "vosk"

WORKER = re.compile(r"'([A-Za-z0-9+/=]{1000000,})'")
LOADER = re.compile(
    r"var LoadVosk = \(function\(\) \{.*?\n\s*\}\)\(\);(?=\s*module\.exports)", re.S
)
WASM = re.compile(r"(?<=data:application/octet-stream;base64,)[A-Za-z0-9+/=]{1000,}")

NAMED = """function createNamedFunction(name,body){name=makeLegalFunctionName(name);\
return {[name]:function(){return body.apply(this,arguments)}}[name]}"""

INVOKER = """function craftInvokerFunction(humanName,argTypes,classType,cppInvokerFunc,\
cppTargetFunc){\
var given=argTypes.length-2;var method=argTypes[1]!==null&&classType!==null;\
var taken=argTypes.slice(method?1:2);var stacked=argTypes.slice(1).some(function(one){\
return one!==null&&one.destructorFunction===undefined});\
return function(){if(arguments.length!==given){\
throwBindingError(humanName+": "+arguments.length+" arguments, not "+given)}\
var stack=stacked?[]:null;var values=method?[this].concat(Array.from(arguments)):arguments;\
var wired=taken.map(function(one,i){return one.toWireType(stack,values[i])});\
var result=cppInvokerFunc.apply(null,[cppTargetFunc].concat(wired));\
if(stacked){runDestructors(stack)}else{taken.forEach(function(one,i){\
if(one.destructorFunction!==null){one.destructorFunction(wired[i])}})}\
if(argTypes[0].name!=="void"){return argTypes[0].fromWireType(result)}}}"""

HEAD = """\
// Cut out of the worker of the npm package vosk-browser 0.0.8 (Ciaran O'Reilly; with Vosk,
// Kaldi and OpenFst in it; made by Emscripten), Apache License 2.0: see LICENSE beside this file.
// Changed by oralquiz (models/browser/take_apart.py): the WebAssembly is a file of its own, and
// createNamedFunction and craftInvokerFunction do without making code out of text.
"""


def package() -> bytes:
    """The package's file, fetched by npm. Raises ValueError if it is another than is known."""
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run(["npm", "pack", PACKAGE], cwd=folder, check=True, capture_output=True)
        packed = next(Path(folder).glob("*.tgz"))
        if hashlib.sha256(packed.read_bytes()).hexdigest() != PACKAGE_SHA256:
            raise ValueError(f"{PACKAGE} is not the package that is known")
        with tarfile.open(packed) as archive:
            member = archive.extractfile(MEMBER)
            assert member is not None
            return member.read()


def found(pattern: re.Pattern[str], text: str) -> str:
    """The only place of ``pattern`` in ``text``. Raises ValueError."""
    (one,) = pattern.findall(text)
    return str(one)


def function(text: str, name: str) -> str:
    """The text of the function ``name``, up to the next one."""
    start = text.index(f"function {name}(")
    ends = re.compile(r"\}(?=function |var )")
    depth = 0
    for at in range(start, len(text)):
        depth += {"{": 1, "}": -1}.get(text[at], 0)
        if depth == 0 and text[at] == "}" and ends.match(text, at):
            return text[start : at + 1]
    raise ValueError(f"no end of {name}")


def take_apart(script: str) -> tuple[str, bytes]:
    """What loads the library, and the library."""
    worker = base64.b64decode(found(WORKER, script)).decode()
    wasm = base64.b64decode(found(WASM, worker))
    loader = found(LOADER, WASM.sub("", worker))
    for name, ours in (("createNamedFunction", NAMED), ("craftInvokerFunction", INVOKER)):
        loader = loader.replace(function(loader, name), ours)
    return HEAD + loader + "\n", wasm


def main() -> None:
    loader, wasm = take_apart(package().decode())
    TARGET.mkdir(parents=True, exist_ok=True)
    (TARGET / "vosk.js").write_text(loader, encoding="utf-8")
    (TARGET / "vosk.wasm.gz").write_bytes(gzip.compress(wasm, 9, mtime=0))
    for name, content in (("vosk.js", loader.encode()), ("vosk.wasm", wasm)):
        print(hashlib.sha256(content).hexdigest(), len(content), name)


if __name__ == "__main__":
    main()

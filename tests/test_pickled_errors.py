"""Errors pass from one process to another with their message and every field."""

from __future__ import annotations

import concurrent.futures
import copy
import importlib
import multiprocessing
import pickle
import pkgutil
from pathlib import Path

import pytest

import lobework
from lobework import errors
from lobework.cli.parser import UsageError
from lobework.cli.streams import PrintError
from lobework.cli.writing import OutputError
from lobework.gearing.change_wheels import NoTrainError
from lobework.kernels.jit import CacheWarning, _DamagedError
from lobework.parts.cam import Wave
from lobework.plugins.registry import PluginWarning
from lobework.proof.sampling import TooFarError
from lobework.testing.backends import _Stop
from lobework.testing.compare import Broken
from lobework.testing.promise import Unjudged

PLUGINS = sorted((Path(__file__).parents[1] / "plugins").glob("*/lobework_*.py"))


def plugin_error():
    error = errors.PluginError("motions: breaks its promise")
    error.part = Wave
    return error


RAISED = [
    errors.LobeworkError("nothing goes"),
    errors.InputError("radius=-3: must be above zero", "lid.toml: cam[1]"),
    errors.SettingError("radius=-3: must be above zero").at("cam[1]").at("lid.toml"),
    errors.TooLargeError("would need 9 GB", "pass[2]"),
    errors.PartError("cam: is nan at 30 degrees", "cam[1]").at("lid.toml"),
    errors.UnknownNameError("cam", "scalop", ["wave", "scallop"]),
    plugin_error(),
    errors.OutputExistsError(Path("out/x.svg")),
    NoTrainError("no train of 2 pairs", "cam[1].ratio"),
    UsageError("no verb; see lobework --help"),
    OutputError(errors.OutputExistsError("out/x.svg")),
    TooFarError(7),
    Unjudged("needs a face"),
    Broken("off by 2 mm at 30 degrees"),
    _Stop("stopped"),
    _DamagedError("crossing.nbi"),
    CacheWarning("compiled code cannot be stored"),
    PrintError("No space left on device"),
    PluginWarning("tide 1.0 is left out"),
]
each_error = pytest.mark.parametrize("error", RAISED, ids=lambda error: type(error).__name__)


def kinds():
    """Every class of exceptions that the library and the packages beside it define."""
    names = [each.name for each in pkgutil.walk_packages(lobework.__path__, "lobework.") if not each.name.endswith("__main__")]
    modules = [importlib.import_module(name) for name in names]
    found = {kind for module in modules for kind in vars(module).values() if isinstance(kind, type)}
    return {kind for kind in found if issubclass(kind, BaseException) and kind.__module__.startswith("lobework")}


def told(error):
    """The type, message and fields of an error, those of an error that it holds included."""
    fields = {name: told(value) if isinstance(value, Exception) else value for name, value in vars(error).items()}
    return type(error), str(error), repr(error), fields


def test_every_class_of_errors_is_tested():
    assert {type(error) for error in RAISED} == kinds()
    assert not [path for path in PLUGINS if "Error(" in path.read_text(encoding="utf-8").partition("class ")[2].partition(":")[0]]


@each_error
@pytest.mark.parametrize("protocol", range(pickle.HIGHEST_PROTOCOL + 1))
def test_an_error_is_pickled_with_its_message_and_fields(error, protocol):
    assert told(pickle.loads(pickle.dumps(error, protocol))) == told(error)


@each_error
def test_an_error_is_copied_with_its_message_and_fields(error):
    assert told(copy.copy(error)) == told(error)
    assert told(copy.deepcopy(error)) == told(error)


class OfAPlugin(errors.SettingError):
    """An error with a constructor of its own."""

    def __init__(self, teeth, *, wheel):
        self.teeth, self.wheel = teeth, wheel
        super().__init__(f"{teeth} teeth on {wheel}")


def test_an_error_with_its_own_constructor_is_pickled():
    error = OfAPlugin(96, wheel="outer")
    error.add_note("seen at the bench")
    assert told(pickle.loads(pickle.dumps(error))) == told(error)
    assert error.__notes__ == pickle.loads(pickle.dumps(error)).__notes__


def test_an_error_raised_in_a_spawned_process_reaches_the_parent():
    context = multiprocessing.get_context("spawn")
    with concurrent.futures.ProcessPoolExecutor(1, mp_context=context) as pool:
        with pytest.raises(errors.UnknownNameError) as caught:
            pool.submit(lobework.read_lathe, "rocking-bank").result(timeout=60)
        assert caught.value.name == "rocking-bank"
        assert "rocking-bench" in caught.value.known
        assert pool.submit(abs, -3).result(timeout=60) == 3

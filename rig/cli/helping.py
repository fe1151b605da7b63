"""`bladerig run PROCEDURE --help`: what the procedure takes, beside how it is called."""

from typing import Any

import click


class ProcedureHelp(click.Command):
    """A command whose first argument names a procedure: its help lists what that one takes."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """As always; the help, which may be shown meanwhile, is told what was typed."""
        ctx.meta["typed"] = [arg for arg in args if not arg.startswith("-")]
        return super().parse_args(ctx, args)

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The parameters of the procedure that was named, or how to see them."""
        super().format_epilog(ctx, formatter)
        named = ctx.meta["typed"][:1]
        if not named:
            from rig.guide.script import built_in

            tests = [name for name in built_in() if not name.startswith("calibrate_")]
            with formatter.section("Procedures"):
                formatter.write_text(
                    f"{', '.join(tests)}. What each takes: bladerig run {tests[0]} --help"
                )
            return
        with formatter.section(f"What {named[0]} takes, as NAME=VALUE"):
            formatter.write_dl(_parameters(named[0]))


def _parameters(procedure: str) -> list[tuple[str, str]]:
    from rig.guide.script import load

    return [(f"{one.name}  ({_left_out(one)})", one.help) for one in load(procedure).parameters]


def _left_out(parameter: Any) -> str:
    if parameter.default is None:
        return "must be given"
    return f"left out: {parameter.default}" if parameter.default else "may be left out"

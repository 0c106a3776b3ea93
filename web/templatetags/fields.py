"""A form's field with its label, help and errors. In Python: one page has hundreds of them."""

from django import template
from django.forms import BoundField
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

register = template.Library()
NOTHING = SafeString("")


@register.simple_tag
def field_row(field: BoundField, all_optional: bool = False) -> SafeString:
    """Label, help, control and errors; all_optional: nothing on the page is said to be optional."""
    classes = "field"
    if field.errors:
        classes += " refused"
    if field.widget_type == "checkbox":
        classes += " tick"
    return format_html('<div class="{}">{}</div>', classes, _inside(field, all_optional))


def _inside(field: BoundField, all_optional: bool) -> SafeString:
    help_text, errors = _help(field), _errors(field)
    if field.use_fieldset:
        described = (
            format_html(' aria-describedby="{}"', field.aria_describedby)
            if field.aria_describedby
            else NOTHING
        )
        legend = format_html("<legend>{}{}</legend>", field.label, _optional(field, all_optional))
        return format_html("<fieldset{}>{}{}{}{}</fieldset>", described, legend, help_text, errors, field)
    if field.widget_type == "checkbox":
        label = format_html(' <label for="{}">{}</label>', field.id_for_label, field.label)
        return format_html("{}{}{}{}", field, label, help_text, errors)
    label = format_html(
        '<label for="{}">{}{}</label>', field.id_for_label, field.label, _optional(field, all_optional)
    )
    return format_html("{}{}{}{}", label, help_text, field, errors)


def _optional(field: BoundField, all_optional: bool) -> SafeString:
    if field.field.required or all_optional:
        return NOTHING
    return format_html(' <span class="optional">{}</span>', _("optional"))


def _help(field: BoundField) -> SafeString:
    if not field.help_text:
        return NOTHING
    return format_html('<p class="help" id="{}_helptext">{}</p>', field.auto_id, field.help_text)


def _errors(field: BoundField) -> SafeString:
    if not field.errors:
        return NOTHING
    told = format_html_join(" ", "{}", ((error,) for error in field.errors))
    return format_html('<p class="error" id="{}_error">{}</p>', field.auto_id, told)

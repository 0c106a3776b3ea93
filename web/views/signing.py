"""Signing in and out, and a new password by e-mail."""

from django.contrib.auth import views as auth
from django.urls import reverse_lazy

from web.access import open_page

sign_in = open_page(
    auth.LoginView.as_view(template_name="signing/sign-in.html", redirect_authenticated_user=True)
)
sign_out = open_page(auth.LogoutView.as_view())
reset = open_page(
    auth.PasswordResetView.as_view(
        template_name="signing/reset.html",
        email_template_name="signing/reset-email.txt",
        subject_template_name="signing/reset-subject.txt",
        success_url=reverse_lazy("web:reset-sent"),
    )
)
reset_sent = open_page(auth.PasswordResetDoneView.as_view(template_name="signing/reset-sent.html"))
new_password = open_page(
    auth.PasswordResetConfirmView.as_view(
        template_name="signing/new-password.html", success_url=reverse_lazy("web:sign-in")
    )
)

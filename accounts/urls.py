from django.urls import path

from accounts.views import firm, invitations, me, people, tokens, trail

app_name = "accounts"
urlpatterns = [
    path("", people.people, name="people"),
    path("invite/", invitations.invite, name="invite"),
    path("invitations/<uuid:pk>/withdraw/", invitations.withdraw_invitation, name="withdraw_invitation"),
    path("invitation/", invitations.accept_invitation, name="accept_invitation"),
    path("invitation/<str:secret>/", invitations.open_invitation, name="open_invitation"),
    path("firm/", firm.firm, name="firm"),
    path("roles/", people.roles, name="roles"),
    path("second-factor/", people.second_factor_rule, name="second_factor_rule"),
    path("audit-trail/", trail.audit_trail, name="audit_trail"),
    path("tokens/", tokens.tokens, name="tokens"),
    path("tokens/new/", tokens.token_new, name="token_new"),
    path("tokens/<uuid:pk>/withdraw/", tokens.token_withdraw, name="token_withdraw"),
    path("me/", me.me, name="me"),
    path("me/details/", me.details, name="details"),
    path("me/email/", me.email, name="email"),
    path("me/email/<str:token>/", me.email_confirm, name="email_confirm"),
    path("me/signing-pin/", me.signing_pin, name="signing_pin"),
    path("<uuid:pk>/", people.person, name="person"),
    path("<uuid:pk>/roles/", people.person_roles, name="person_roles"),
    path("<uuid:pk>/close/", people.person_close, name="person_close"),
    path("<uuid:pk>/reopen/", people.person_reopen, name="person_reopen"),
    path("<uuid:pk>/sessions/end/", people.person_end_sessions, name="person_end_sessions"),
    path("<uuid:pk>/second-factor/remove/", people.person_forget_factor, name="person_forget_factor"),
]

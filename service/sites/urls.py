from django.urls import path

from service.sites.views import clients, guidelines, manager_access, photos, sites, spas

app_name = "sites"
urlpatterns = [
    path("clients/", clients.clients, name="clients"),
    path("clients/new/", clients.client_new, name="client_new"),
    path("clients/<uuid:pk>/", clients.client, name="client"),
    path("clients/<uuid:pk>/edit/", clients.client_edit, name="client_edit"),
    path("clients/<uuid:pk>/archive/", clients.client_archive, name="client_archive"),
    path("clients/<uuid:pk>/restore/", clients.client_restore, name="client_restore"),
    path("clients/<uuid:pk>/guideline/", guidelines.client_guideline, name="client_guideline"),
    path("clients/<uuid:pk>/access/", clients.client_access_grant, name="client_access_grant"),
    path(
        "clients/<uuid:pk>/access/<uuid:access_pk>/withdraw/",
        clients.client_access_withdraw,
        name="client_access_withdraw",
    ),
    path("clients/<uuid:pk>/sites/new/", sites.site_new, name="site_new"),
    path("people/<uuid:pk>/clients/", manager_access.person_clients, name="person_clients"),
    path(
        "people/invitations/<uuid:pk>/clients/",
        manager_access.invitation_clients,
        name="invitation_clients",
    ),
    path("guideline/", guidelines.firm_guideline, name="firm_guideline"),
    path("sites/", sites.sites, name="sites"),
    path("sites/<uuid:pk>/", sites.site, name="site"),
    path("sites/<uuid:pk>/edit/", sites.site_edit, name="site_edit"),
    path("sites/<uuid:pk>/archive/", sites.site_archive, name="site_archive"),
    path("sites/<uuid:pk>/restore/", sites.site_restore, name="site_restore"),
    path("sites/<uuid:pk>/guideline/", guidelines.site_guideline, name="site_guideline"),
    path("sites/<uuid:pk>/supply-water/", sites.site_supply_water, name="site_supply_water"),
    path("sites/<uuid:pk>/spas/new/", spas.spa_new, name="spa_new"),
    path("spas/", spas.spas, name="spas"),
    path("spas/<uuid:pk>/", spas.spa, name="spa"),
    path("spas/<uuid:pk>/edit/", spas.spa_edit, name="spa_edit"),
    path("spas/<uuid:pk>/archive/", spas.spa_archive, name="spa_archive"),
    path("spas/<uuid:pk>/restore/", spas.spa_restore, name="spa_restore"),
    path("spas/<uuid:pk>/guideline/", guidelines.spa_guideline, name="spa_guideline"),
    path("spas/<uuid:pk>/photos/", photos.spa_photos, name="spa_photos"),
    path("spas/<uuid:pk>/photos/<uuid:photo_pk>.jpg", photos.spa_photo, name="spa_photo"),
    path(
        "spas/<uuid:pk>/photos/<uuid:photo_pk>/caption/", photos.spa_photo_caption, name="spa_photo_caption"
    ),
    path("spas/<uuid:pk>/photos/<uuid:photo_pk>/remove/", photos.spa_photo_remove, name="spa_photo_remove"),
]

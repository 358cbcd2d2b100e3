"""Addresses: the same use cases for other programs."""

from django.urls import path, re_path

from service.api import clients, fitness, guide, records, safety, schema, sites, spas, stock, visits
from service.api.nowhere import Nowhere

app_name = "api"
urlpatterns = [
    path("", guide.guide, name="guide"),
    path("schema/", schema.Schema.as_view(), name="schema"),
    path("clients/", clients.Clients.as_view(), name="clients"),
    path("clients/<uuid:pk>/", clients.OneClient.as_view(), name="client"),
    path("clients/<uuid:pk>/archive/", clients.ArchiveClient.as_view(), name="client_archive"),
    path("clients/<uuid:pk>/restore/", clients.RestoreClient.as_view(), name="client_restore"),
    path("sites/", sites.Sites.as_view(), name="sites"),
    path("sites/<uuid:pk>/", sites.OneSite.as_view(), name="site"),
    path("sites/<uuid:pk>/archive/", sites.ArchiveSite.as_view(), name="site_archive"),
    path("sites/<uuid:pk>/restore/", sites.RestoreSite.as_view(), name="site_restore"),
    path("spas/", spas.Spas.as_view(), name="spas"),
    path("spas/<uuid:pk>/", spas.OneSpa.as_view(), name="spa"),
    path("spas/<uuid:pk>/archive/", spas.ArchiveSpa.as_view(), name="spa_archive"),
    path("spas/<uuid:pk>/restore/", spas.RestoreSpa.as_view(), name="spa_restore"),
    path("spas/<uuid:pk>/fitness/", fitness.FitnessOfSpa.as_view(), name="spa_fitness"),
    path("fitness/", fitness.FitnessOfSpas.as_view(), name="fitness"),
    path("products/", stock.Products.as_view(), name="products"),
    path("products/<uuid:pk>/", stock.OneProduct.as_view(), name="product"),
    path("products/<uuid:pk>/archive/", stock.ArchiveProduct.as_view(), name="product_archive"),
    path("products/<uuid:pk>/restore/", stock.RestoreProduct.as_view(), name="product_restore"),
    path("batches/", stock.Batches.as_view(), name="batches"),
    path("batches/<uuid:pk>/", stock.OneBatch.as_view(), name="batch"),
    path("batches/<uuid:pk>/archive/", stock.ArchiveBatch.as_view(), name="batch_archive"),
    path("batches/<uuid:pk>/restore/", stock.RestoreBatch.as_view(), name="batch_restore"),
    path("instruments/", stock.Instruments.as_view(), name="instruments"),
    path("instruments/<uuid:pk>/", stock.OneInstrument.as_view(), name="instrument"),
    path("instruments/<uuid:pk>/archive/", stock.ArchiveInstrument.as_view(), name="instrument_archive"),
    path("instruments/<uuid:pk>/restore/", stock.RestoreInstrument.as_view(), name="instrument_restore"),
    path("visits/", visits.Visits.as_view(), name="visits"),
    path("visits/<uuid:pk>/", visits.OneVisit.as_view(), name="visit"),
    path("visits/<uuid:pk>/cancel/", visits.CancelVisit.as_view(), name="visit_cancel"),
    path("visits/<uuid:pk>/start/", visits.StartVisit.as_view(), name="visit_start"),
    path("visits/<uuid:pk>/readings/", visits.ReadingsOfVisit.as_view(), name="visit_readings"),
    path("visits/<uuid:pk>/decisions/", visits.DecisionsOfVisit.as_view(), name="visit_decisions"),
    path("closures/", safety.Closures.as_view(), name="closures"),
    path("closures/<uuid:pk>/", safety.OneClosure.as_view(), name="closure"),
    path("defects/", safety.Defects.as_view(), name="defects"),
    path("defects/<uuid:pk>/", safety.OneDefect.as_view(), name="defect"),
    path("records/", records.Records.as_view(), name="records"),
    path("records/<uuid:pk>/", records.OneRecord.as_view(), name="record"),
    path("records/<uuid:pk>/pdf/", records.PdfOfRecord.as_view(), name="record_pdf"),
    re_path(r"^(?P<rest>.*)$", Nowhere.as_view(), name="nowhere"),
]
